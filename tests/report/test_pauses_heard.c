/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <string.h>

#include <cmocka.h>

#include "report/pauses_heard.h"

enum { RATE = 48000 };
#define S(seconds) ((int64_t)((seconds)*RATE + 0.5))

/* Three lines with pauses of 0.5 s and 4 s between their loud edges, and faint edges around them. */
static const struct tt_run runs[] = {
    {.start_sample = S(0.9), .loud_start_sample = S(1), .loud_end_sample = S(3), .end_sample = S(3.1)},
    {.start_sample = S(3.4), .loud_start_sample = S(3.5), .loud_end_sample = S(5), .end_sample = S(5.2)},
    {.start_sample = S(8.9), .loud_start_sample = S(9), .loud_end_sample = S(10), .end_sample = S(10.1)}};
static const struct tt_heard heard = {.facts = {.rate_hz = RATE, .frame_count = S(12)}, .runs = runs, .run_count = 3};

static size_t in_all(const size_t *steps)
{
    size_t count = 0;
    for (int i = 0; i < TT_PAUSE_STEPS; i++)
        count += steps[i];
    return count;
}

static struct tt_pauses_heard measured(struct tt_stretch *stretches, size_t count)
{
    struct tt_time_map map = {.rate_hz = RATE, .stretches = stretches, .count = count};
    struct tt_take_report take = {.is_heard = true, .heard = &heard, .map = &map};
    struct tt_pauses_heard pauses;
    tt_pauses_measure(&take, &pauses);
    return pauses;
}

static void pauses_are_counted_as_long_as_they_are_heard_to_be(void **state)
{
    (void)state;
    struct tt_stretch stretches[] = {{.source_start = 0, .source_end = S(5.5)},
                                     {.source_start = S(8.6), .source_end = S(12), .out_start = S(5.5)}};
    struct tt_pauses_heard pauses = measured(stretches, 2);
    assert_int_equal(in_all(pauses.before), 2);
    assert_int_equal(pauses.before[4], 1);  /* 0.4 to 0.566 s */
    assert_int_equal(pauses.before[10], 1); /* 3.2 to 4.5 s */
    assert_int_equal(in_all(pauses.after), 2);
    assert_int_equal(pauses.after[4], 1);
    assert_int_equal(pauses.after[6], 1); /* 0.8 to 1.13 s: 0.9 */
    assert_true(pauses.longest_before_s == 4.0 && pauses.longest_after_s > 0.89 && pauses.longest_after_s < 0.91);
}

static void a_line_that_is_cut_leaves_one_pause_and_an_opened_gap_lengthens_it(void **state)
{
    (void)state;
    struct tt_stretch stretches[] = {{.source_start = 0, .source_end = S(3.2), .fill_samples = S(2)},
                                     {.source_start = S(8.8), .source_end = S(12), .out_start = S(5.2)}};
    struct tt_pauses_heard pauses = measured(stretches, 2);
    assert_int_equal(in_all(pauses.after), 1);
    assert_true(pauses.longest_after_s > 2.39 && pauses.longest_after_s < 2.41);
}

static void nothing_left_has_no_pauses(void **state)
{
    (void)state;
    struct tt_pauses_heard pauses = measured(NULL, 0);
    assert_int_equal(in_all(pauses.before), 2);
    assert_int_equal(in_all(pauses.after), 0);
    assert_true(pauses.longest_after_s == 0);
}

static void the_chart_s_axis_is_logarithmic(void **state)
{
    (void)state;
    struct tt_pauses_heard pauses = {.before = {[10] = 3}, .after = {[6] = 7}};
    struct tt_text text = {0};
    tt_chart_pauses(&text, &pauses);
    assert_false(text.has_failed);
    /* 0.1 s at 46, 562 units for eight octaves: 1 s lies 3.32 of them further on, 10 s 6.64. */
    assert_non_null(strstr(text.data, "x=\"279\" y=\"192\">1 s<"));
    assert_non_null(strstr(text.data, "x=\"513\" y=\"192\">10 s<"));
    assert_non_null(strstr(text.data, ">6<")); /* counts in steps of two */
    assert_null(strstr(text.data, ">7<"));
    tt_text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pauses_are_counted_as_long_as_they_are_heard_to_be),
        cmocka_unit_test(a_line_that_is_cut_leaves_one_pause_and_an_opened_gap_lengthens_it),
        cmocka_unit_test(nothing_left_has_no_pauses),
        cmocka_unit_test(the_chart_s_axis_is_logarithmic),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
