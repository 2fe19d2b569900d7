/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/made_session.h"

static void nothing_is_proposed_where_nothing_is_read_again(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 60);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

static void a_line_broken_off_and_read_again_is_cut(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3), again = read_line(session, 200);
    read_lines(session, 300, 4);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 1);
    assert_gone(session, 0, first);
    assert_stays(session, 0, again);
    end(session);
}

static void the_row_names_what_replaces_it(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    break_off(session, 200, 1.3);
    struct reading again = read_line(session, 200);
    decide(session);
    char from[TT_TIME_CHARS], to[TT_TIME_CHARS], note[128];
    tt_time_format((int64_t)(again.start_s * 1000.0 + 0.5), from);
    tt_time_format((int64_t)(again.end_s * 1000.0 + 0.5), to);
    snprintf(note, sizeof note, "read again %s-%s", from, to);
    assert_int_equal(session->takes[0].sheet.count, 1);
    const struct tt_row *row = &session->takes[0].sheet.rows[0];
    assert_string_equal(row->note, note);
    assert_int_equal(row->kind, TT_ROW_MISREAD);
    assert_int_equal(row->proposed, TT_DO_CUT);
    assert_true(row->confidence >= 0.97 && row->confidence <= 1.0);
    end(session);
}

/* The listener says a line after the narrator: into a microphone of their own it replaces nothing, or the line would be
 * in neither. */
static void a_line_that_the_listener_says_again_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    session->settings.misreads.talk = TT_POLICY_CUT;
    read_lines(session, 100, 20);
    struct reading line = break_off(session, 200, 2.3), echo = read_line(session, 200);
    read_lines(session, 300, 4);
    const struct tt_span_frames others[] = {{(int64_t)(echo.start_s * RATE), (int64_t)(echo.end_s * RATE)}};
    session->takes[0].heard.others = others;
    session->takes[0].heard.other_count = 1;
    decide(session);
    assert_stays(session, 0, line);
    assert_gone(session, 0, echo);
    end(session);
}

static void a_faint_line_that_replaces_another_is_no_talk(void **state)
{
    (void)state;
    struct made_session *session = begin();
    session->settings.misreads.talk = TT_POLICY_CUT;
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3);
    pause_s(session, 0.6);
    struct reading again = read_part(session, 200, 0, 2.4, -22);
    pause_s(session, 4);
    read_lines(session, 300, 4);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 0, again);
    end(session);
}

static void of_several_tries_each_row_names_the_reading_that_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    break_off(session, 200, 1.0);
    break_off(session, 200, 1.6);
    begin_take(session);
    struct reading line = read_line(session, 200);
    read_lines(session, 300, 4);
    decide(session);
    char from[TT_TIME_CHARS];
    tt_time_format((int64_t)(line.start_s * 1000.0 + 0.5), from);
    assert_int_equal(session->takes[0].sheet.count, 2);
    for (size_t r = 0; r < 2; r++) {
        assert_non_null(strstr(session->takes[0].sheet.rows[r].note, from));
        assert_non_null(strstr(session->takes[0].sheet.rows[r].note, ", in 2.wav"));
    }
    end(session);
}

static void a_row_does_not_name_what_is_given_up_of_the_reading_that_replaces_it(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    read_line(session, 200);
    break_off(session, 201, 1.6);
    struct reading line = read_line(session, 200);
    break_off(session, 201, 1.6);
    struct reading end_of_it = read_line(session, 201);
    read_lines(session, 300, 4);
    decide(session);
    char to[TT_TIME_CHARS];
    tt_time_format((int64_t)(line.end_s * 1000.0 + 0.5), to);
    assert_non_null(strstr(session->takes[0].sheet.rows[0].note, to));
    assert_stays(session, 0, line);
    assert_stays(session, 0, end_of_it);
    end(session);
}

static void a_line_read_whole_and_then_again_is_cut(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = read_line(session, 200), again = read_line(session, 200);
    read_lines(session, 300, 4);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 0, again);
    end(session);
}

static void false_starts_all_go(void **state)
{
    (void)state;
    static const double seconds[] = {1.0, 1.6, 1.2, 0.9, 1.4};
    for (size_t count = 3; count <= 5; count += 2) {
        struct made_session *session = begin();
        read_lines(session, 100, 20);
        struct reading tries[5];
        for (size_t k = 0; k < count; k++)
            tries[k] = break_off(session, 200, seconds[k]);
        struct reading again = read_line(session, 200);
        decide(session);
        for (size_t k = 0; k < count; k++)
            assert_gone(session, 0, tries[k]);
        assert_stays(session, 0, again);
        /* nothing of the pauses between them stays either */
        assert_gone(session, 0, (struct reading){tries[0].start_s, tries[count - 1].end_s});
        end(session);
    }
}

static void talk_between_goes_out_in_a_row_of_its_own(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3), talk = read_part(session, 999, 0.0, 1.5, -9.0);
    pause_s(session, 0.5);
    struct reading again = read_line(session, 200);
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_CUT), 1);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 1);
    assert_gone(session, 0, (struct reading){first.start_s, talk.end_s});
    assert_stays(session, 0, again);
    end(session);
}

static void long_talk_between_is_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3), talk = {0};
    for (uint32_t k = 0; k < 6; k++) {
        talk = read_part(session, 990 + k, 0.0, 2.0, -9.0);
        pause_s(session, 0.4);
    }
    struct reading again = read_line(session, 200);
    decide(session);
    assert_true(rows_with(session, TT_ROW_TALK, TT_DO_ASK) >= 1);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_CUT), 0);
    assert_stays(session, 0, talk);
    assert_stays(session, 0, again);
    assert_gone(session, 0, first);
    end(session);
}

static void lines_in_between_stay(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading third = read_line(session, 203), fourth = read_line(session, 204), fifth = read_line(session, 205);
    struct reading again = read_line(session, 203);
    read_lines(session, 206, 4);
    decide(session);
    assert_stays(session, 0, fourth);
    assert_stays(session, 0, fifth);
    assert_stays(session, 0, again);
    assert_true(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT) + rows_with(session, TT_ROW_MISREAD, TT_DO_ASK) == 1);
    assert_true(cut_share(session, 0, third) > 0.999 || rows_with(session, TT_ROW_MISREAD, TT_DO_ASK) == 1);
    end(session);
}

static void several_lines_read_again_all_go(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = read_line(session, 203), second = read_line(session, 204),
                   broken = break_off(session, 205, 1.2);
    struct reading again = read_line(session, 203);
    read_line(session, 204);
    read_line(session, 205);
    decide(session);
    assert_gone(session, 0, (struct reading){first.start_s, broken.end_s});
    assert_gone(session, 0, second);
    assert_stays(session, 0, again);
    end(session);
}

static void the_re_read_may_be_in_the_next_take(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.5);
    begin_take(session);
    struct reading again = read_line(session, 200);
    read_lines(session, 300, 4);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 1, again);
    assert_int_equal(session->takes[1].sheet.count, 0);
    assert_int_equal(session->takes[0].sheet.count, 1);
    assert_non_null(strstr(session->takes[0].sheet.rows[0].note, ", in 2.wav"));
    end(session);
}

static void a_take_goes_whole_when_each_line_is_read_again(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    begin_take(session);
    struct reading first = read_line(session, 200), second = break_off(session, 201, 1.6);
    begin_take(session);
    read_lines(session, 200, 6);
    decide(session);
    assert_gone(session, 1, (struct reading){first.start_s, second.end_s});
    assert_int_equal(session->takes[2].sheet.count, 0);
    end(session);
}

static void a_take_keeps_the_line_that_is_not_read_again(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    begin_take(session);
    struct reading first = read_line(session, 200), only_here = read_line(session, 777);
    begin_take(session);
    read_lines(session, 200, 6);
    decide(session);
    assert_stays(session, 1, only_here);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_CUT), 0);
    assert_true(cut_share(session, 1, first) > 0.999 || rows_with(session, TT_ROW_MISREAD, TT_DO_ASK) == 1);
    end(session);
}

static void lines_that_only_begin_alike_are_not_cut(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    for (uint32_t k = 0; k < 8; k++) { /* the same first 0.8 s, then something else each time */
        struct made_take *take = take_of(session);
        struct reading head = read_part(session, 500, 0.0, 0.8, 0.0), rest = read_part(session, 600 + k, 0.0, 1.8, 0.0);
        take->heard.run_count--;
        take->runs[take->heard.run_count - 1].end_sample = (int64_t)(rest.end_s * RATE);
        take->falls[take->heard.run_count - 1] = true;
        assert_true(rest.start_s <= head.end_s);
        pause_s(session, 0.7);
    }
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 0);
    end(session);
}

static void a_line_that_comes_back_after_a_while_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    for (uint32_t verse = 0; verse < 5; verse++) { /* a refrain each fifteen seconds */
        read_lines(session, 100 + 10 * verse, 4);
        read_line(session, 999);
    }
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 0);
    end(session);
}

static void beyond_the_look_back_nothing_is_compared(void **state)
{
    (void)state;
    struct made_session *session = begin();
    session->settings.misreads.look_back_s = 1.0;
    read_lines(session, 100, 20);
    read_line(session, 200);
    read_line(session, 200);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

static void asking_and_off_are_obeyed(void **state)
{
    (void)state;
    for (int off = 0; off < 2; off++) {
        struct made_session *session = begin();
        session->settings.misreads.action = off ? TT_POLICY_OFF : TT_POLICY_ASK;
        read_lines(session, 100, 20);
        break_off(session, 200, 1.3);
        read_line(session, 200);
        decide(session);
        assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 0);
        assert_int_equal(session->takes[0].sheet.count, off ? 0 : 1);
        end(session);
    }
}

static void more_than_half_a_minute_at_once_is_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    read_lines(session, 200, 12); /* 37 s, all read again */
    read_lines(session, 200, 12);
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 0);
    assert_true(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK) >= 1);
    end(session);
}

static void a_restart_without_a_pause_is_found(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct made_take *take = take_of(session);
    struct reading first = read_part(session, 200, 0.0, 1.4, 0.0), again = read_part(session, 200, 0.0, 2.4, 0.0);
    take->heard.run_count--; /* one run of speech: the narrator did not stop */
    take->runs[take->heard.run_count - 1].end_sample = (int64_t)(again.end_s * RATE);
    take->falls[take->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    read_lines(session, 300, 4);
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 1);
    assert_true(cut_share(session, 0, first) > 0.9);
    assert_stays(session, 0, again);
    end(session);
}

/* The two last runs become one: the room was too loud to hear a pause between them. Its steps show it, so many dB under
 * the lines, each second one by so much less. */
static void join_runs(struct made_take *take, double under_db, double uneven_db)
{
    struct tt_run *run = &take->runs[take->heard.run_count - 2];
    float *steps = make_steps(take);
    for (size_t k = (size_t)ceil((double)run->end_sample * 10.0 / RATE);
         k < (size_t)((double)run[1].start_sample * 10.0 / RATE); k++)
        steps[k] = (float)pow(10.0, ((double)run->level_db - under_db + (k % 2 ? uneven_db : 0.0)) / 10.0);
    run->end_sample = run[1].end_sample;
    take->heard.run_count--;
}

static void pauses_that_the_room_fills_are_heard(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading before = read_line(session, 199), broken = break_off(session, 200, 1.7);
    const double gap_s[2] = {before.end_s + 0.1, broken.start_s - 0.1};
    take_of(session)->heard.run_count--;
    take_of(session)->runs[take_of(session)->heard.run_count - 1].end_sample = (int64_t)(broken.end_s * RATE);
    read_part(session, 900, 0.0, 1.0, -12.0);
    pause_s(session, 0.5);
    struct reading line = read_line(session, 200);
    join_runs(take_of(session), 26.0, 0.0);
    for (size_t k = (size_t)ceil(gap_s[0] * 10.0); k < (size_t)(gap_s[1] * 10.0); k++)
        take_of(session)->steps[k] = 1e-5f;
    decide(session);
    assert_true(cut_share(session, 0, broken) > 0.999);
    assert_stays(session, 0, before);
    assert_stays(session, 0, line);
    end(session);
}

/* How much of a misread goes where the pause behind it is no quieter than this. */
static double cut_before_a_loud_pause(double under_db, double uneven_db)
{
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading broken = break_off(session, 200, 1.7);
    pause_s(session, 0.5);
    struct reading line = read_line(session, 200);
    join_runs(take_of(session), under_db, uneven_db);
    decide(session);
    const double share = cut_share(session, 0, broken);
    assert_stays(session, 0, line);
    end(session);
    return share;
}

static void a_swell_of_the_room_is_a_pause_as_words_are_not(void **state)
{
    (void)state;
    assert_true(cut_before_a_loud_pause(18.0, 2.0) > 0.9);
    assert_true(cut_before_a_loud_pause(20.0, 5.0) <= 0.0);
    assert_true(cut_before_a_loud_pause(13.0, 2.0) <= 0.0);
}

static void a_re_read_may_begin_inside_an_earlier_line(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading line = read_part(session, 200, 0.0, 4.0, 0.0);
    pause_s(session, 0.5);
    struct reading broken = break_off(session, 201, 1.2), again = read_part(session, 200, 2.0, 4.0, 0.0);
    pause_s(session, 0.5);
    struct reading next = read_line(session, 201);
    read_lines(session, 300, 4);
    decide(session);
    double middle_s = 0.5 * (line.start_s + line.end_s);
    assert_gone(session, 0, broken);
    assert_stays(session, 0, (struct reading){line.start_s, middle_s - 0.1});
    assert_true(cut_share(session, 0, (struct reading){middle_s + 0.1, line.end_s}) > 0.999);
    assert_stays(session, 0, again);
    assert_stays(session, 0, next);
    end(session);
}

/* Reads parts of texts as one run each, `gaps_s` apart. */
static void read_runs(struct made_session *session, const struct part *parts, size_t count, double gap_s,
                      struct reading *readings)
{
    for (size_t k = 0; k < count; k++) {
        readings[k] = read_part(session, parts[k].text, parts[k].from_s, parts[k].to_s, 0.0);
        pause_s(session, gap_s);
    }
}

/* Step one. Do this. Step two. ... Do this. */
static void what_only_seemed_to_be_read_again_between_two_lines_counts_as_said(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading step = read_parts(session, (const struct part[]){{400, 0.0, 0.9}, {410, 0.0, 0.3}}, 2);
    pause_s(session, 0.4);
    read_line(session, 200);
    read_parts(session, (const struct part[]){{400, 0.0, 0.9}, {420, 0.0, 0.3}}, 2);
    pause_s(session, 0.7);
    read_lines(session, 201, 8);
    read_line(session, 200);
    read_lines(session, 300, 8);
    for (uint32_t text = 208; text > 200; text--)
        read_line(session, text);
    read_lines(session, 310, 4);
    decide(session);
    assert_stays(session, 0, step);
    end(session);
}

/* Two strokes of 0.55 s, alike, in one run of speech between lines; asked about, or not. */
static size_t questions_about_strokes(float voiced_share)
{
    struct made_session *session = begin();
    struct made_take *take = take_of(session);
    session->settings.misreads.action = TT_POLICY_ASK;
    read_lines(session, 100, 4);
    read_part(session, 500, 0.0, 0.55, 0.0);
    read_part(session, 500, 0.0, 0.55, 0.0);
    take->runs[take->heard.run_count - 2].end_sample = take->runs[take->heard.run_count - 1].end_sample;
    take->runs[--take->heard.run_count - 1].voiced_share = voiced_share;
    pause_s(session, 0.7);
    read_lines(session, 200, 4);
    decide(session);
    size_t count = rows_with(session, TT_ROW_MISREAD, TT_DO_ASK);
    end(session);
    return count;
}

static void the_strokes_of_a_cough_are_no_misreads(void **state)
{
    (void)state;
    assert_int_equal(questions_about_strokes(0.6f), 1);
    assert_int_equal(questions_about_strokes(0.05f), 0);
}

static void a_restart_without_a_pause_is_found_however_its_second_try_pauses(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    double start_s = take_of(session)->at_s;
    struct reading first = read_parts(session, (const struct part[]){{200, 0.0, 1.4}, {200, 0.0, 0.6}}, 2);
    pause_s(session, 0.2);
    struct reading rest = read_part(session, 200, 0.6, 2.4, 0.0);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    read_lines(session, 300, 4);
    decide(session);
    assert_true(cut_share(session, 0, (struct reading){start_s, start_s + 1.3}) > 0.9);
    assert_stays(session, 0, (struct reading){first.end_s - 0.5, rest.end_s});
    end(session);
}

static void three_tries_without_a_pause_between_them_go_from_their_beginnings_on(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    /* 'a b' three times: a pause behind each a, none behind a b */
    struct reading heads[1], tries[2], line[1];
    read_runs(session, (const struct part[]){{200, 0.1, 0.9}}, 1, 0.2,
              heads); /* a little late, so that 'b a' matches better than 'a b' */
    for (int k = 0; k < 2; k++) {
        tries[k] = read_parts(session, (const struct part[]){{200, 0.9, 2.0}, {200, 0.0, 0.9}}, 2);
        pause_s(session, 0.2);
    }
    read_runs(session, (const struct part[]){{200, 0.9, 2.4}}, 1, 0.7, line);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    read_lines(session, 300, 4);
    decide(session);
    assert_true(cut_share(session, 0, (struct reading){heads[0].start_s, tries[1].end_s - 1.15}) > 0.99);
    assert_stays(session, 0, (struct reading){tries[1].end_s - 0.8, line[0].end_s});
    end(session);
}

static void a_clause_that_comes_again_in_a_later_line_stays_as_do_the_lines_between(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading clause = read_part(session, 200, 0.0, 1.3, 0.0);
    pause_s(session, 0.7);
    struct reading between =
        read_part(session, 201, 0.0, 1.6, 0.0); /* which comes again, too, but with lines between */
    pause_s(session, 0.7);
    read_part(session, 200, 0.0, 1.3, 0.0);
    pause_s(session, 0.7);
    read_lines(session, 300, 18);
    read_part(session, 201, 0.0, 1.6, 0.0);
    pause_s(session, 0.7);
    read_lines(session, 400, 10);
    decide(session);
    assert_stays(session, 0, clause);
    assert_stays(session, 0, between);
    end(session);
}

static void the_first_word_of_a_re_read_is_no_talk(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3), word = read_part(session, 777, 0.0, 0.5, 0.0);
    pause_s(session, 0.2);
    read_line(session, 200);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 0, word);
    assert_int_equal(session->takes[0].sheet.count, 1);
    end(session);
}

static void the_first_syllable_of_a_re_read_is_no_talk_however_faint(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3), syllable = read_part(session, 777, 0.0, 0.2, -9.0);
    pause_s(session, 0.1);
    read_line(session, 200);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 0, syllable);
    assert_int_equal(session->takes[0].sheet.count, 1);
    end(session);
}

static void a_line_that_replaces_another_is_no_talk_nor_is_its_faint_end(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading outer = break_off(session, 203, 1.5);
    break_off(session, 204, 1.0);
    struct reading line = read_part(session, 204, 0.0, 1.4, 0.0);
    pause_s(session, 0.2);
    struct reading its_end = read_part(session, 204, 1.4, 2.4, -7.0);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.6);
    read_line(session, 203);
    read_lines(session, 300, 4);
    decide(session);
    assert_true(cut_share(session, 0, outer) > 0.99);
    assert_stays(session, 0, line);
    assert_stays(session, 0, its_end);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_ASK) + rows_with(session, TT_ROW_TALK, TT_DO_CUT), 0);
    end(session);
}

static void where_all_is_asked_about_so_is_talk_at_full_level(void **state)
{
    (void)state;
    struct made_session *session = begin();
    session->settings.misreads.action = TT_POLICY_ASK;
    read_lines(session, 100, 20);
    break_off(session, 200, 1.3);
    read_part(session, 777, 0.0, 1.0, 0.0);
    pause_s(session, 0.6);
    read_line(session, 200);
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK), 1);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_ASK), 1);
    end(session);
}

static void behind_a_doubtful_misread_no_second_question_is_asked(void **state)
{
    (void)state;
    struct made_session *session = begin();
    session->settings.misreads.confidence = 2.0; /* nothing is sure */
    read_lines(session, 100, 20);
    break_off(session, 200, 1.3);
    read_part(session, 999, 0.0, 1.5, -7.0);
    pause_s(session, 0.5);
    read_line(session, 200);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 1);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK), 1);
    end(session);
}

/* Had it been broken off, too, it would have been read once more. */
static void the_last_try_at_a_line_is_not_asked_about_however_it_ends(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.0), last = break_off(session, 200, 1.33);
    begin_take(session);
    read_lines(session, 300, 4);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 0, last);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK), 0);
    end(session);
}

static void a_line_cut_off_at_the_end_of_a_take_is_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading broken = break_off(session, 200, 1.33);
    begin_take(session);
    read_lines(session, 300, 4);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 1);
    const struct tt_row *row = &session->takes[0].sheet.rows[0];
    assert_int_equal(row->kind, TT_ROW_MISREAD);
    assert_int_equal(row->action, TT_DO_ASK);
    assert_true(row->confidence >= 0.5 && row->confidence < 0.6);
    assert_true((double)row->start_ms <= broken.start_s * 1000.0 && (double)row->end_ms >= broken.end_s * 1000.0);
    assert_non_null(strstr(row->note, "stops in mid-word"));
    assert_int_equal(session->takes[1].sheet.count, 0);
    end(session);
}

static void a_line_that_ends_as_sentences_do_is_not_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    for (uint32_t take = 0; take < 3; take++) {
        read_lines(session, 100 + 10 * take, 7);
        begin_take(session);
    }
    read_lines(session, 200, 3);
    decide(session);
    for (size_t t = 0; t < session->count; t++)
        assert_int_equal(session->takes[t].sheet.count, 0);
    end(session);
}

static void a_voice_that_ends_all_its_lines_abruptly_is_asked_about_none(void **state)
{
    (void)state;
    struct made_session *session = begin();
    for (uint32_t line = 0; line < 20; line++)
        break_off(session, 100 + line, 2.4);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

/* 'Now open the lid.' 'Open the lid slowly ...' */
static void the_end_of_a_whole_line_that_the_next_one_begins_with_is_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading line = read_parts(session, (const struct part[]){{500, 0.0, 1.6}, {200, 0.0, 1.8}}, 2);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 1.5);
    struct reading next = read_part(session, 200, 0.0, 3.4, 0.0);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    read_lines(session, 300, 4);
    decide(session);
    assert_stays(session, 0, line);
    assert_stays(session, 0, next);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK), 1);
    end(session);
}

static void a_whole_line_that_the_next_one_begins_with_is_asked_about_before_a_pause(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading line = read_part(session, 200, 0.0, 1.6, 0.0);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 2.0);
    read_line(session, 200);
    read_lines(session, 300, 4);
    decide(session);
    assert_stays(session, 0, line);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK), 1);
    end(session);
}

static void a_reading_broken_off_at_a_lines_end_is_cut(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.6);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true; /* as if it were a sentence's end */
    struct reading again = read_line(session, 200);
    read_lines(session, 300, 4);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 0, again);
    end(session);
}

static void a_counted_list_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    for (uint32_t k = 0; k < 8; k++) { /* 'add', a number, 'spoons of honey' */
        struct reading item =
            read_parts(session, (const struct part[]){{500, 0.0, 0.5}, {600 + k, 0.0, 0.4}, {501, 0.0, 1.0}}, 3);
        take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
        pause_s(session, 0.6);
        assert_true(item.end_s > item.start_s);
    }
    read_lines(session, 300, 4);
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 0);
    end(session);
}

static void a_word_that_is_used_again_a_minute_later_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    for (uint32_t k = 0; k < 3; k++) {
        struct reading word = read_part(session, 500, 0.0, 0.9, 0.0);
        take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
        pause_s(session, 0.6);
        read_lines(session, 300 + 30 * k, 18);
        assert_true(word.end_s > word.start_s);
    }
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

static void chat_apart_at_the_end_of_a_take_is_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    pause_s(session, 2.5);
    struct reading chat = read_part(session, 800, 0.0, 1.2, -8.0);
    pause_s(session, 0.4);
    chat.end_s = read_part(session, 801, 0.0, 1.0, -8.0).end_s;
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 1);
    const struct tt_row *row = &session->takes[0].sheet.rows[0];
    assert_int_equal(row->kind, TT_ROW_TALK);
    assert_int_equal(row->action, TT_DO_ASK);
    assert_true((double)row->start_ms <= chat.start_s * 1000.0 && (double)row->end_ms >= chat.end_s * 1000.0);
    end(session);
}

static void faint_talk_goes_out_when_told_so(void **state)
{
    (void)state;
    struct made_session *session = begin();
    session->settings.misreads.talk = TT_POLICY_CUT;
    read_lines(session, 100, 10);
    struct reading listener = read_part(session, 800, 0.0, 1.2, -20.0);
    pause_s(session, 1.0);
    read_lines(session, 200, 10);
    decide(session);
    assert_gone(session, 0, listener);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_CUT), 1);
    end(session);
}

static void a_refrain_with_a_line_in_between_is_asked_about_at_most(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 30);
    for (uint32_t verse = 0; verse < 4; verse++) {
        read_line(session, 999);
        read_part(session, 400 + verse, 0.0, 1.2, 0.0);
        pause_s(session, 0.7);
    }
    read_lines(session, 140, 30);
    decide(session);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 0);
    assert_true(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK) >= 1);
    end(session);
}

/* The faint end of a sentence is no talk, and half a second that comes again behind it is no re-read that may tear the
 * sentence. */
static void a_few_words_that_come_again_behind_a_faint_sentence_end_are_not_cut(void **state)
{
    (void)state;
    for (uint32_t round = 0; round < 5; round++) {
        struct made_session *session = begin();
        read_lines(session, 100 + 100 * round, 20);
        struct reading sentence = read_part(session, 5000 + round, 0.0, 0.4, 0.0);
        pause_s(session, 0.3);
        struct reading its_end = read_part(session, 6000 + round, 0.0, 0.9, -6.0);
        pause_s(session, 0.5);
        read_parts(session, (const struct part[]){{5000 + round, 0.0, 0.4}, {7000 + round, 0.0, 2.0}}, 2);
        pause_s(session, 0.7);
        read_lines(session, 150 + 100 * round, 4);
        decide(session);
        assert_stays(session, 0, sentence);
        assert_stays(session, 0, its_end);
        end(session);
    }
}

static void a_line_that_begins_otherwise_stays_however_alike_it_goes_on(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first =
        read_parts(session, (const struct part[]){{200, 0.0, 0.15}, {700, 0.0, 0.9}, {201, 0.0, 2.4}}, 3);
    pause_s(session, 0.7);
    read_parts(session, (const struct part[]){{200, 0.0, 0.15}, {710, 0.0, 0.9}, {201, 0.0, 2.4}}, 3);
    pause_s(session, 0.7);
    read_lines(session, 300, 4);
    decide(session);
    assert_stays(session, 0, first);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 0);
    end(session);
}

static void the_last_syllable_of_the_line_before_is_not_drawn_into_a_misread(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading line[2], first[2];
    /* Set off by the closure of its consonant, as is the misread's. */
    read_runs(session, (const struct part[]){{200, 0.0, 2.2}, {200, 2.2, 2.38}}, 2, 0.12, line);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.9);
    read_runs(session, (const struct part[]){{201, 0.0, 2.3}, {201, 2.3, 2.5}}, 2, 0.12, first);
    pause_s(session, 0.6);
    struct reading again = read_part(session, 201, 0.0, 2.9, 0.0);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    read_lines(session, 300, 4);
    decide(session);
    assert_stays(session, 0, (struct reading){line[0].start_s, line[1].end_s});
    assert_true(cut_share(session, 0, (struct reading){first[0].start_s, first[1].end_s}) > 0.99);
    assert_stays(session, 0, again);
    end(session);
}

static void the_end_of_the_line_before_is_not_drawn_in_by_tries_that_repeat(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    /* Its end is as long as that of the tries, and begins like it. */
    struct reading line[2], end_of_line, tries[2][2];
    read_runs(session, (const struct part[]){{200, 0.0, 1.8}}, 1, 0.2, line);
    end_of_line = read_parts(session, (const struct part[]){{201, 1.3, 1.56}, {900, 0.0, 0.29}}, 2);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    for (int k = 0; k < 2; k++) {
        read_runs(session, (const struct part[]){{201, 0.0, 1.3}, {201, 1.3, 1.9}}, 2, 0.3, tries[k]);
        pause_s(session, 0.6);
    }
    read_runs(session, (const struct part[]){{201, 0.0, 1.3}, {201, 1.3, 2.4}}, 2, 0.3, line);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    read_lines(session, 300, 4);
    decide(session);
    assert_stays(session, 0, end_of_line);
    for (int k = 0; k < 2; k++)
        assert_true(cut_share(session, 0, (struct reading){tries[k][0].start_s, tries[k][1].end_s}) > 0.99);
    end(session);
}

/* 'Find the eggs, they stand upright.' 'Look for eggs, they stand upright.' 'Look for brood.' */
static void the_first_words_of_a_re_read_are_asked_about_where_the_next_line_has_them_too(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first[2], again[2], next[1];
    read_runs(session, (const struct part[]){{500, 0.0, 0.8}, {201, 0.8, 2.4}}, 2, 0.2, first);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    read_runs(session, (const struct part[]){{600, 0.0, 0.8}, {201, 0.8, 2.4}}, 2, 0.2, again);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    next[0] = read_parts(session, (const struct part[]){{600, 0.0, 0.75}, {700, 0.0, 1.0}}, 2);
    pause_s(session, 0.7);
    read_lines(session, 300, 4);
    decide(session);
    assert_stays(session, 0, again[0]);
    assert_stays(session, 0, next[0]);
    assert_true(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK) > 0);
    end(session);
}

static void a_full_level_line_behind_a_whole_one_is_never_taken_for_talk(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    read_line(session, 200);
    struct reading between = read_part(session, 201, 0.0, 0.7, 0.0);
    pause_s(session, 0.6);
    read_line(session, 200);
    decide(session);
    assert_stays(session, 0, between);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_CUT) + rows_with(session, TT_ROW_TALK, TT_DO_ASK), 0);
    end(session);
}

static void full_level_words_behind_a_broken_line_are_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = break_off(session, 200, 1.3), words = read_part(session, 777, 0.0, 1.0, 0.0);
    pause_s(session, 0.6);
    read_line(session, 200);
    decide(session);
    assert_gone(session, 0, first);
    assert_stays(session, 0, words);
    assert_int_equal(rows_with(session, TT_ROW_TALK, TT_DO_ASK), 1);
    end(session);
}

static void a_faint_voice_before_the_first_line_is_asked_about(void **state)
{
    (void)state;
    struct made_session *session = begin();
    struct reading slate = read_part(session, 800, 0.0, 1.2, -14.0);
    pause_s(session, 1.0);
    read_lines(session, 100, 20);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 1);
    const struct tt_row *row = &session->takes[0].sheet.rows[0];
    assert_int_equal(row->kind, TT_ROW_TALK);
    assert_int_equal(row->action, TT_DO_ASK);
    assert_true((double)row->start_ms <= slate.start_s * 1000.0 && (double)row->end_ms >= slate.end_s * 1000.0);
    end(session);
}

static void talk_elsewhere_is_left_alone_when_told_so(void **state)
{
    (void)state;
    struct made_session *session = begin();
    session->settings.misreads.talk = TT_POLICY_OFF;
    read_part(session, 800, 0.0, 1.2, -14.0);
    pause_s(session, 1.0);
    read_lines(session, 100, 20);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

static void what_was_decided_does_not_depend_on_chance(void **state)
{
    (void)state;
    struct made_session *sessions[2];
    for (int k = 0; k < 2; k++) {
        sessions[k] = begin();
        read_lines(sessions[k], 100, 20);
        break_off(sessions[k], 200, 1.3);
        read_line(sessions[k], 200);
        decide(sessions[k]);
    }
    const struct tt_sheet *a = &sessions[0]->takes[0].sheet, *b = &sessions[1]->takes[0].sheet;
    assert_int_equal(a->count, b->count);
    for (size_t r = 0; r < a->count; r++) {
        assert_int_equal(a->rows[r].start_ms, b->rows[r].start_ms);
        assert_int_equal(a->rows[r].end_ms, b->rows[r].end_ms);
        assert_memory_equal(&a->rows[r].confidence, &b->rows[r].confidence, sizeof a->rows[r].confidence);
    }
    end(sessions[0]);
    end(sessions[1]);
}

static void an_empty_session_is_no_error(void **state)
{
    (void)state;
    struct made_session *session = begin();
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(nothing_is_proposed_where_nothing_is_read_again),
        cmocka_unit_test(a_line_broken_off_and_read_again_is_cut),
        cmocka_unit_test(the_row_names_what_replaces_it),
        cmocka_unit_test(a_line_that_the_listener_says_again_stays),
        cmocka_unit_test(a_faint_line_that_replaces_another_is_no_talk),
        cmocka_unit_test(of_several_tries_each_row_names_the_reading_that_stays),
        cmocka_unit_test(a_row_does_not_name_what_is_given_up_of_the_reading_that_replaces_it),
        cmocka_unit_test(a_line_read_whole_and_then_again_is_cut),
        cmocka_unit_test(false_starts_all_go),
        cmocka_unit_test(talk_between_goes_out_in_a_row_of_its_own),
        cmocka_unit_test(long_talk_between_is_asked_about),
        cmocka_unit_test(lines_in_between_stay),
        cmocka_unit_test(several_lines_read_again_all_go),
        cmocka_unit_test(the_re_read_may_be_in_the_next_take),
        cmocka_unit_test(a_take_goes_whole_when_each_line_is_read_again),
        cmocka_unit_test(a_take_keeps_the_line_that_is_not_read_again),
        cmocka_unit_test(what_only_seemed_to_be_read_again_between_two_lines_counts_as_said),
        cmocka_unit_test(lines_that_only_begin_alike_are_not_cut),
        cmocka_unit_test(a_line_that_comes_back_after_a_while_stays),
        cmocka_unit_test(beyond_the_look_back_nothing_is_compared),
        cmocka_unit_test(asking_and_off_are_obeyed),
        cmocka_unit_test(more_than_half_a_minute_at_once_is_asked_about),
        cmocka_unit_test(a_restart_without_a_pause_is_found),
        cmocka_unit_test(the_strokes_of_a_cough_are_no_misreads),
        cmocka_unit_test(pauses_that_the_room_fills_are_heard),
        cmocka_unit_test(a_swell_of_the_room_is_a_pause_as_words_are_not),
        cmocka_unit_test(the_last_syllable_of_the_line_before_is_not_drawn_into_a_misread),
        cmocka_unit_test(the_end_of_the_line_before_is_not_drawn_in_by_tries_that_repeat),
        cmocka_unit_test(the_first_words_of_a_re_read_are_asked_about_where_the_next_line_has_them_too),
        cmocka_unit_test(a_full_level_line_behind_a_whole_one_is_never_taken_for_talk),
        cmocka_unit_test(full_level_words_behind_a_broken_line_are_asked_about),
        cmocka_unit_test(a_faint_voice_before_the_first_line_is_asked_about),
        cmocka_unit_test(talk_elsewhere_is_left_alone_when_told_so),
        cmocka_unit_test(what_was_decided_does_not_depend_on_chance),
        cmocka_unit_test(an_empty_session_is_no_error),
        cmocka_unit_test(a_re_read_may_begin_inside_an_earlier_line),
        cmocka_unit_test(a_refrain_with_a_line_in_between_is_asked_about_at_most),
        cmocka_unit_test(a_few_words_that_come_again_behind_a_faint_sentence_end_are_not_cut),
        cmocka_unit_test(a_line_that_begins_otherwise_stays_however_alike_it_goes_on),
        cmocka_unit_test(a_restart_without_a_pause_is_found_however_its_second_try_pauses),
        cmocka_unit_test(three_tries_without_a_pause_between_them_go_from_their_beginnings_on),
        cmocka_unit_test(a_clause_that_comes_again_in_a_later_line_stays_as_do_the_lines_between),
        cmocka_unit_test(the_first_word_of_a_re_read_is_no_talk),
        cmocka_unit_test(the_first_syllable_of_a_re_read_is_no_talk_however_faint),
        cmocka_unit_test(a_line_that_replaces_another_is_no_talk_nor_is_its_faint_end),
        cmocka_unit_test(where_all_is_asked_about_so_is_talk_at_full_level),
        cmocka_unit_test(behind_a_doubtful_misread_no_second_question_is_asked),
        cmocka_unit_test(the_last_try_at_a_line_is_not_asked_about_however_it_ends),
        cmocka_unit_test(a_line_cut_off_at_the_end_of_a_take_is_asked_about),
        cmocka_unit_test(a_line_that_ends_as_sentences_do_is_not_asked_about),
        cmocka_unit_test(a_voice_that_ends_all_its_lines_abruptly_is_asked_about_none),
        cmocka_unit_test(the_end_of_a_whole_line_that_the_next_one_begins_with_is_asked_about),
        cmocka_unit_test(a_whole_line_that_the_next_one_begins_with_is_asked_about_before_a_pause),
        cmocka_unit_test(a_reading_broken_off_at_a_lines_end_is_cut),
        cmocka_unit_test(a_counted_list_stays),
        cmocka_unit_test(a_word_that_is_used_again_a_minute_later_stays),
        cmocka_unit_test(chat_apart_at_the_end_of_a_take_is_asked_about),
        cmocka_unit_test(faint_talk_goes_out_when_told_so),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
