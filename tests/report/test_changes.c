/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What moved between two narrations, worked out by hand: 48 kHz, 25 frames a second, 1920 samples a frame. */
#include "hive_session.h"

#include "report/layout.h"

enum { SECOND = 48000, MOST_SPANS = 4 };

struct narration {
    struct tt_layout layout;
    struct tt_layout_take takes[4];
    struct tt_layout_span spans[MOST_SPANS];
};

static void narration_start(struct narration *n, double seconds)
{
    static char names[4][20] = {"01.wav", "02 - ruche.wav", "03.wav", "04.wav"};
    *n = (struct narration){0};
    for (size_t i = 0; i < 4; i++)
        n->takes[i] = (struct tt_layout_take){.name = names[i], .content = "3fa2c10000000000", .rate_hz = SECOND};
    n->layout = (struct tt_layout){.rate_hz = SECOND,
                                   .frames = (int64_t)(seconds * SECOND),
                                   .start = "01:00:00:00",
                                   .takes = n->takes,
                                   .take_count = 4,
                                   .spans = n->spans};
}

static void span(struct narration *n, size_t take, double from_s, double to_s, double at_s)
{
    n->spans[n->layout.span_count++] =
        (struct tt_layout_span){take, (int64_t)(from_s * SECOND), (int64_t)(to_s * SECOND), (int64_t)(at_s * SECOND)};
}

/* The table's rows, without its heading. */
static const char *changes(const struct hive *hive, const struct narration *before, const struct narration *now)
{
    static char rows[4000];
    struct tt_text text = {0};
    struct tt_error err = {0};
    if (!tt_report_changes(&hive->session, &before->layout, &now->layout, "earlier/narration-0001.wav", &text, &err))
        fail_msg("%s", err.message);
    assert_int_equal(strncmp(text.data, "since,before,now,step_frames,from_here_frames,from_here_s,take,why\r\n", 68),
                     0);
    snprintf(rows, sizeof rows, "%s", text.data + 68);
    tt_text_free(&text);
    return rows;
}

static void assert_rows(const char *rows, const char *expected)
{
    if (strcmp(rows, expected) != 0)
        fail_msg("is\n%sand should be\n%s", rows, expected);
}

static void what_comes_later_is_told_once_where_it_begins(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 20);
    span(&before, 0, 0, 20, 0);
    narration_start(&now, 19);
    span(&now, 0, 0, 9.5, 0);
    span(&now, 0, 10.5, 20, 9.5);
    /* A second less, out of the pause of the sheet at 9 to 11 s: 25 frames. */
    assert_rows(changes(hive, &before, &now),
                "earlier/narration-0001.wav,01:00:10:13,01:00:09:13,-25,-25,-1.000000,01.wav,pause: shorten "
                "(00:00:09.000-00:00:11.000 of the take)\r\n");
}

static void steps_add_up_to_what_lies_later_from_there_on(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 20);
    span(&before, 0, 0, 20, 0);
    narration_start(&now, 16);
    span(&now, 0, 0, 2, 0);
    span(&now, 0, 5, 9.5, 2);
    span(&now, 0, 10.5, 20, 6.5);
    assert_rows(changes(hive, &before, &now),
                "earlier/narration-0001.wav,01:00:05:00,01:00:02:00,-75,-75,-3.000000,01.wav,misread: cut "
                "(00:00:02.000-00:00:05.000 of the take)\r\n"
                "earlier/narration-0001.wav,01:00:10:13,01:00:06:13,-25,-100,-4.000000,01.wav,pause: shorten "
                "(00:00:09.000-00:00:11.000 of the take)\r\n");
}

/* The sheet opens 4 s at 13 s, within a pause that the program shortens as well: the gap is the reason, not the pause.
 */
static void an_opened_gap_is_the_reason_though_a_pause_lies_around_it(void **state)
{
    struct hive *hive = *state;
    struct tt_row pause = hive_row(hive, 0, "p9-3fa2c1-0009", 12500, 13500, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.9, 1, "");
    hive->rows[0] = pause;
    struct narration before, now;
    narration_start(&before, 20);
    span(&before, 0, 0, 20, 0);
    narration_start(&now, 24);
    span(&now, 0, 0, 13, 0);
    span(&now, 0, 13, 20, 17);
    assert_rows(changes(hive, &before, &now),
                "earlier/narration-0001.wav,01:00:13:00,01:00:17:00,100,100,4.000000,01.wav,gap: open "
                "(00:00:13.000-00:00:13.000 of the take)\r\n");
}

static void a_gap_that_is_no_more_is_told_though_its_row_is_gone(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 24);
    span(&before, 0, 0, 10, 0);
    span(&before, 0, 10, 20, 14);
    narration_start(&now, 20);
    span(&now, 0, 0, 20, 0);
    assert_rows(changes(hive, &before, &now),
                "earlier/narration-0001.wav,01:00:14:00,01:00:10:00,-100,-100,-4.000000,01.wav,gap: closed "
                "(00:00:10.000-00:00:10.000 of the take)\r\n");
}

static void takes_that_come_or_go_are_named(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 21);
    span(&before, 0, 0, 10, 0);
    span(&before, 2, 0, 10, 11);
    narration_start(&now, 32);
    span(&now, 0, 0, 10, 0);
    span(&now, 1, 0, 10, 11);
    span(&now, 2, 0, 10, 22);
    assert_rows(
        changes(hive, &before, &now),
        "earlier/narration-0001.wav,01:00:11:00,01:00:22:00,275,275,11.000000,03.wav,02 - ruche.wav is new\r\n");
    assert_rows(
        changes(hive, &now, &before),
        "earlier/narration-0001.wav,01:00:22:00,01:00:11:00,-275,-275,-11.000000,03.wav,02 - ruche.wav is out\r\n");
}

/* 01 02 03 become 01 03, a new take, 02: where 03 comes up nothing is new, and nothing is where 02 used to be. */
static void a_new_take_is_told_where_it_lies_and_nowhere_else(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 30);
    span(&before, 0, 0, 10, 0);
    span(&before, 1, 0, 10, 10);
    span(&before, 2, 0, 10, 20);
    narration_start(&now, 40);
    span(&now, 0, 0, 10, 0);
    span(&now, 2, 0, 10, 10);
    span(&now, 3, 0, 10, 20);
    span(&now, 1, 0, 10, 30);
    assert_rows(
        changes(hive, &before, &now),
        "earlier/narration-0001.wav,01:00:20:00,01:00:10:00,-250,-250,-10.000000,03.wav,the running order changed\r\n"
        "earlier/narration-0001.wav,01:00:10:00,01:00:30:00,750,500,20.000000,02 - ruche.wav,\"04.wav is new; the "
        "running order changed\"\r\n"
        "earlier/narration-0001.wav,01:00:30:00,01:00:40:00,-250,250,10.000000,,the running order changed\r\n");
}

static void another_running_order_is_told(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 21);
    span(&before, 0, 0, 10, 0);
    span(&before, 1, 0, 10, 11);
    narration_start(&now, 21);
    span(&now, 1, 0, 10, 0);
    span(&now, 0, 0, 10, 11);
    const char *rows = changes(hive, &before, &now);
    assert_non_null(strstr(rows, ",01.wav,the running order changed\r\n"));
}

static void another_start_moves_all(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 20);
    span(&before, 0, 0, 20, 0);
    now = before;
    now.layout.takes = now.takes;
    now.layout.spans = now.spans;
    snprintf(now.layout.start, sizeof now.layout.start, "10:00:00:00");
    assert_rows(changes(hive, &before, &now),
                "earlier/narration-0001.wav,01:00:00:00,10:00:00:00,810000,810000,0.000000,01.wav,\"the first frame is "
                "10:00:00:00, was 01:00:00:00\"\r\n");
}

/* A join may move by a sample or two where rates differ. */
static void a_move_of_less_than_four_samples_is_none(void **state)
{
    struct hive *hive = *state;
    struct narration before, now;
    narration_start(&before, 20);
    span(&before, 0, 0, 20, 0);
    narration_start(&now, 20);
    span(&now, 0, 0, 20, 0);
    now.spans[0].start_frame = 3;
    now.layout.frames += 3;
    assert_rows(changes(hive, &before, &now),
                "earlier/narration-0001.wav,01:00:00:00,01:00:00:00,0,0,0.000000,,nothing moved in time: only its "
                "sound differs\r\n");
    now.spans[0].start_frame = 4;
    now.layout.frames += 1;
    assert_null(strstr(changes(hive, &before, &now), "nothing moved"));
}

static int set_up(void **state)
{
    struct hive *hive = calloc(1, sizeof *hive);
    if (!hive)
        return -1;
    hive_start(hive);
    hive->takes[1].is_heard = false;
    *state = hive;
    return 0;
}

static int tear_down(void **state)
{
    free(*state);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_comes_later_is_told_once_where_it_begins, set_up, tear_down),
        cmocka_unit_test_setup_teardown(steps_add_up_to_what_lies_later_from_there_on, set_up, tear_down),
        cmocka_unit_test_setup_teardown(an_opened_gap_is_the_reason_though_a_pause_lies_around_it, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_gap_that_is_no_more_is_told_though_its_row_is_gone, set_up, tear_down),
        cmocka_unit_test_setup_teardown(takes_that_come_or_go_are_named, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_new_take_is_told_where_it_lies_and_nowhere_else, set_up, tear_down),
        cmocka_unit_test_setup_teardown(another_running_order_is_told, set_up, tear_down),
        cmocka_unit_test_setup_teardown(another_start_moves_all, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_move_of_less_than_four_samples_is_none, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
