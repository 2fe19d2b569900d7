/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where the cut of a misread begins and ends, and what goes with it. */
#include "stages/made_session.h"

static void the_cut_leaves_room_before_the_re_read(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3), again = read_line(session, 200);
    decide(session);
    const struct tt_row *row = &session->takes[0].sheet.rows[0];
    assert_in_range(again.start_s * 1000.0 - (double)row->end_ms, 110, 130); /* 120 ms at 35 dB over the room */
    assert_in_range(first.start_s * 1000.0 - (double)row->start_ms, 0, 40);
    end(session);
}

static void the_misreads_breath_goes_and_the_re_reads_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading breath[2];
    for (int k = 0; k < 2; k++) {
        breath[k] = breathe(session, 0.3);
        pause_s(session, 0.1);
        if (k == 0)
            break_off(session, 200, 1.3);
        else
            read_line(session, 200);
    }
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 1);
    assert_gone(session, 0, breath[0]);
    assert_stays(session, 0, breath[1]);
    end(session);
}

static void a_breath_heard_in_pieces_goes_or_stays_whole(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading pieces[4];
    for (int k = 0; k < 4; k++) {
        pieces[k] = breathe(session, 0.12);
        pause_s(session, 0.06);
        if (k == 1)
            break_off(session, 200, 1.3);
        if (k == 3)
            read_line(session, 200);
    }
    decide(session);
    for (int k = 0; k < 2; k++)
        assert_gone(session, 0, pieces[k]);
    for (int k = 2; k < 4; k++)
        assert_stays(session, 0, pieces[k]);
    end(session);
}

/* 75 ms of a word's beginning may be faint, and the cut leads by 15 ms. */
static void a_cut_begins_at_its_misread_where_a_restless_room_runs_into_it(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3);
    struct made_take *take = take_of(session);
    take->runs[take->heard.run_count - 1].start_sample -= (int64_t)(0.3 * RATE);
    take->faint_s[take->heard.run_count - 1] = 0.3;
    struct reading again = read_line(session, 200);
    decide(session);
    assert_int_equal(take->sheet.count, 1);
    assert_gone(session, 0, first);
    assert_stays(session, 0, again);
    assert_in_range(first.start_s * 1000.0 - (double)take->sheet.rows[0].start_ms, 85, 95);
    end(session);
}

static void a_word_too_many_behind_what_is_read_again_goes_with_it(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = read_part(session, 200, 0.0, 1.3, 0.0);
    pause_s(session, 0.12);
    struct reading word = break_off(session, 900, 0.4), again = read_line(session, 200);
    decide(session);
    assert_gone(session, 0, first);
    assert_gone(session, 0, word);
    assert_stays(session, 0, again);
    assert_int_equal(session->takes[0].sheet.count, 1);
    end(session);
}

/* Reads a text from its start on, and goes on after a comma. */
static struct reading lead_in(struct made_session *session, uint32_t text, double seconds)
{
    struct reading lead = read_part(session, text, 0.0, seconds, 0.0);
    pause_s(session, 0.2);
    return lead;
}

static void first_words_that_were_said_differently_go_with_the_rest(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading lead = lead_in(session, 900, 0.6), first = break_off(session, 200, 1.6),
                   other = lead_in(session, 901, 0.6), again = read_line(session, 200);
    decide(session);
    assert_gone(session, 0, lead);
    assert_gone(session, 0, first);
    assert_stays(session, 0, other);
    assert_stays(session, 0, again);
    end(session);
}

static void what_leads_into_words_that_alone_are_read_again_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading lead = lead_in(session, 900, 1.2), first = break_off(session, 200, 1.6),
                   again = read_line(session, 200);
    decide(session);
    assert_stays(session, 0, lead);
    assert_gone(session, 0, first);
    assert_stays(session, 0, again);
    end(session);
}

static void words_that_a_line_which_stays_leads_into_stay_with_it(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading line = lead_in(session, 902, 2.0), its_end = lead_in(session, 900, 0.6);
    struct reading first = break_off(session, 200, 1.6);
    lead_in(session, 901, 0.6);
    read_line(session, 200);
    decide(session);
    assert_stays(session, 0, line);
    assert_stays(session, 0, its_end);
    assert_gone(session, 0, first);
    end(session);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_cut_leaves_room_before_the_re_read),
        cmocka_unit_test(the_misreads_breath_goes_and_the_re_reads_stays),
        cmocka_unit_test(a_breath_heard_in_pieces_goes_or_stays_whole),
        cmocka_unit_test(a_cut_begins_at_its_misread_where_a_restless_room_runs_into_it),
        cmocka_unit_test(a_word_too_many_behind_what_is_read_again_goes_with_it),
        cmocka_unit_test(first_words_that_were_said_differently_go_with_the_rest),
        cmocka_unit_test(what_leads_into_words_that_alone_are_read_again_stays),
        cmocka_unit_test(words_that_a_line_which_stays_leads_into_stay_with_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
