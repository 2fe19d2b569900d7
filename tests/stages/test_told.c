/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the narrator himself says about a reading: knocks, and readings that he chose in the sheet. */
#include "stages/made_session.h"

/* Two knocks, some dB against the lines, as sounds between the lines. Returns the place of both. */
static struct reading knock_twice(struct made_session *session, double apart_s, double level_db)
{
    struct made_take *take = take_of(session);
    double start_s = take->at_s;
    for (int k = 0; k < 2; k++)
        take->sounds[take->heard.sound_count++] =
            (struct tt_sound){.start_sample = (int64_t)((start_s + k * apart_s) * RATE),
                              .end_sample = (int64_t)((start_s + k * apart_s + 0.06) * RATE),
                              .kind = k ? TT_SOUND_CLICK : TT_SOUND_NOISE,
                              .confidence = 0.7f,
                              .level_db = (float)(-24.0 + level_db),
                              .over_floor_db = 20.0f};
    take->at_s = start_s + apart_s + 0.06;
    struct reading reading = {start_s, take->at_s};
    pause_s(session, 0.6);
    return reading;
}

static struct made_session *begin_with_knocks(void)
{
    struct made_session *session = begin();
    session->settings.misreads.knock = true;
    read_lines(session, 100, 20);
    return session;
}

/* A whole line in two phrases, 0.2 s apart. */
static struct reading read_in_two(struct made_session *session, uint32_t text)
{
    struct reading first = read_part(session, text, 0.0, 1.2, 0.0);
    pause_s(session, 0.2);
    struct reading second = read_part(session, text, 1.2, 2.4, 0.0);
    return (struct reading){first.start_s, second.end_s};
}

static void two_knocks_take_out_the_line_before_them(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    struct reading wrong = read_in_two(session, 200);
    pause_s(session, 0.4);
    struct reading knocks = knock_twice(session, 0.4, -12.0), next = read_line(session, 300);
    decide(session);
    assert_gone(session, 0, (struct reading){wrong.start_s, knocks.end_s});
    assert_stays(session, 0, next);
    assert_int_equal(session->takes[0].sheet.count, 1);
    assert_string_equal(session->takes[0].sheet.rows[0].note, "two knocks behind it");
    end(session);
}

static void the_line_before_the_one_that_was_wrong_stays(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    struct reading good = read_line(session, 200), wrong = read_line(session, 201),
                   knocks = knock_twice(session, 0.4, -12.0);
    decide(session);
    assert_stays(session, 0, good);
    assert_gone(session, 0, (struct reading){wrong.start_s, knocks.end_s});
    end(session);
}

static void a_knocked_reading_goes_from_where_its_re_read_begins(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    session->settings.misreads.confidence = 2.0; /* likeness alone cuts nothing here */
    struct reading first = read_line(session, 200), second = read_part(session, 201, 0.0, 0.6, 0.0);
    pause_s(session, 0.4);
    struct reading knocks = knock_twice(session, 0.4, -12.0), again = read_line(session, 200);
    read_line(session, 201);
    decide(session);
    assert_gone(session, 0, (struct reading){first.start_s, knocks.end_s});
    assert_gone(session, 0, second);
    assert_stays(session, 0, again);
    assert_non_null(strstr(session->takes[0].sheet.rows[0].note, "read again "));
    end(session);
}

static void one_knock_means_nothing(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    struct reading line = read_line(session, 200);
    knock_twice(session, 0.4, -12.0);
    take_of(session)->heard.sound_count--;
    decide(session);
    assert_stays(session, 0, line);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

static void knocks_more_than_a_second_apart_or_faint_ones_mean_nothing(void **state)
{
    (void)state;
    for (int faint = 0; faint < 2; faint++) {
        struct made_session *session = begin_with_knocks();
        read_line(session, 200);
        knock_twice(session, faint ? 0.4 : 1.1, faint ? -30.0 : -12.0);
        decide(session);
        assert_int_equal(session->takes[0].sheet.count, 0);
        end(session);
    }
}

static void knocks_mean_nothing_unless_told_so(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    session->settings.misreads.knock = false;
    read_line(session, 200);
    knock_twice(session, 0.4, -12.0);
    decide(session);
    assert_int_equal(session->takes[0].sheet.count, 0);
    end(session);
}

static void knocks_go_out_even_when_nothing_else_does(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    session->settings.misreads.action = TT_POLICY_OFF;
    struct reading line = read_line(session, 200), knocks = knock_twice(session, 0.4, -12.0);
    decide(session);
    assert_stays(session, 0, line);
    assert_gone(session, 0, knocks);
    assert_int_equal(rows_with(session, TT_ROW_NOISE, TT_DO_CUT), 1);
    end(session);
}

static void knocks_heard_as_very_short_runs_are_knocks_all_the_same(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    struct reading line = read_line(session, 200), knocks = {take_of(session)->at_s, 0.0};
    for (int k = 0; k < 2; k++) {
        struct made_take *take = take_of(session);
        read_part(session, 900, 0.0, 0.08, -10.0);
        take->runs[take->heard.run_count - 1].voiced_share = 0.3f;
        knocks.end_s = take->at_s;
        pause_s(session, 0.3);
    }
    decide(session);
    assert_gone(session, 0, (struct reading){line.start_s, knocks.end_s});
    end(session);
}

static void a_session_with_knocks_in_every_pause_loses_no_line_twice(void **state)
{
    (void)state;
    struct made_session *session = begin_with_knocks();
    struct reading wrong = read_line(session, 200), good;
    knock_twice(session, 0.4, -12.0);
    pause_s(session, 2.0);
    struct reading second = knock_twice(session, 0.4, -12.0);
    good = read_line(session, 300);
    decide(session);
    assert_gone(session, 0, wrong);
    assert_gone(session, 0, second);
    assert_stays(session, 0, good);
    assert_true(cut_share(session, 0, (struct reading){1.0, wrong.start_s - 0.1}) <= 0.0);
    end(session);
}

/* A person's row over a reading, as it is read back from a sheet. */
static void choose_over(struct made_session *session, size_t take, struct reading reading, const char *note)
{
    struct tt_error err = {0};
    struct tt_row row = {.start_ms = (int64_t)(reading.start_s * 1000.0),
                         .end_ms = (int64_t)(reading.end_s * 1000.0),
                         .kind = TT_ROW_MISREAD,
                         .proposed = TT_DO_CUT,
                         .action = TT_DO_CHOOSE,
                         .amount = NAN,
                         .confidence = 0.98,
                         .note = (char *)(uintptr_t)note};
    assert_true(tt_sheet_propose(&session->takes[take].sheet, &row, &err));
    session->takes[take].sheet.rows[session->takes[take].sheet.count - 1].is_persons = true;
}

static void note_of_reading(char note[96], struct reading again, const char *in)
{
    char from[TT_TIME_CHARS], to[TT_TIME_CHARS];
    tt_time_format((int64_t)(again.start_s * 1000.0 + 0.5), from);
    tt_time_format((int64_t)(again.end_s * 1000.0 + 0.5), to);
    snprintf(note, 96, "read again %s-%s%s%s", from, to, in ? ", in " : "", in ? in : "");
}

/* By the spans that rendering takes out. */
static double out_share(const struct made_session *session, size_t take, struct reading reading)
{
    struct tt_span *spans;
    size_t count;
    struct tt_error err = {0};
    assert_true(tt_sheet_cut_spans(&session->takes[take].sheet, &spans, &count, &err));
    double gone = 0.0;
    for (size_t s = 0; s < count; s++) {
        double from = fmax((double)spans[s].start_ms / 1000.0, reading.start_s),
               to = fmin((double)spans[s].end_ms / 1000.0, reading.end_s);
        if (to > from)
            gone += to - from;
    }
    free(spans);
    return gone / (reading.end_s - reading.start_s);
}

static void a_chosen_reading_stays_and_the_one_in_the_next_take_goes(void **state)
{
    (void)state;
    for (int off = 0; off < 2; off++) {
        struct made_session *session = begin();
        if (off)
            session->settings.misreads.action = TT_POLICY_OFF;
        read_lines(session, 100, 20);
        struct reading first = read_line(session, 200);
        begin_take(session);
        struct reading again = read_line(session, 200), next = read_line(session, 300);
        read_lines(session, 301, 4);
        char note[96];
        note_of_reading(note, again, "2.wav");
        choose_over(session, 0, first, note);
        decide(session);
        assert_true(out_share(session, 0, first) <= 0.0);
        assert_true(out_share(session, 1, again) > 0.999);
        assert_true(out_share(session, 1, next) <= 0.0);
        assert_int_equal(session->takes[1].sheet.count, 1);
        assert_string_equal(session->takes[1].sheet.rows[0].note, "an earlier reading was chosen, in 1.wav");
        end(session);
    }
}

static void a_reading_chosen_over_one_elsewhere_takes_nothing_out_at_that_time_of_its_own_take(void **state)
{
    (void)state;
    struct made_session *session = begin();
    struct reading early = read_line(session, 99);
    read_lines(session, 100, 20);
    struct reading first = read_line(session, 200);
    begin_take(session);
    struct reading again = read_line(session, 200);
    assert_true(fabs(again.start_s - early.start_s) < 0.1);
    char note[96];
    note_of_reading(note, again, "2.wav");
    choose_over(session, 0, first, note);
    decide(session);
    assert_true(out_share(session, 0, early) <= 0.0);
    end(session);
}

static void a_chosen_reading_stays_and_the_one_behind_it_goes(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 20);
    struct reading first = read_line(session, 200), again = read_line(session, 200), next = read_line(session, 300);
    char note[96];
    note_of_reading(note, again, NULL);
    choose_over(session, 0, first, note);
    decide(session);
    assert_true(out_share(session, 0, first) <= 0.0);
    assert_true(out_share(session, 0, again) > 0.99);
    assert_true(out_share(session, 0, next) <= 0.0);
    end(session);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(two_knocks_take_out_the_line_before_them),
        cmocka_unit_test(the_line_before_the_one_that_was_wrong_stays),
        cmocka_unit_test(a_knocked_reading_goes_from_where_its_re_read_begins),
        cmocka_unit_test(one_knock_means_nothing),
        cmocka_unit_test(knocks_more_than_a_second_apart_or_faint_ones_mean_nothing),
        cmocka_unit_test(knocks_mean_nothing_unless_told_so),
        cmocka_unit_test(knocks_go_out_even_when_nothing_else_does),
        cmocka_unit_test(knocks_heard_as_very_short_runs_are_knocks_all_the_same),
        cmocka_unit_test(a_session_with_knocks_in_every_pause_loses_no_line_twice),
        cmocka_unit_test(a_chosen_reading_stays_and_the_one_in_the_next_take_goes),
        cmocka_unit_test(a_reading_chosen_over_one_elsewhere_takes_nothing_out_at_that_time_of_its_own_take),
        cmocka_unit_test(a_chosen_reading_stays_and_the_one_behind_it_goes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
