/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Pace, from syllables that were counted by hand. */
#include <math.h>

#include "sheet/pace.h"
#include "support.h"

enum { RATE_HZ = 48000, RUNS = 30 };
static struct tt_run runs[RUNS];
static int64_t nuclei_at[RUNS * 64];

/* Runs of 4 s, with so many syllables in each. */
static struct tt_heard reading(const int *syllables, int run_count)
{
    struct tt_heard heard = {.runs = runs, .nuclei = nuclei_at};
    heard.facts.rate_hz = RATE_HZ;
    heard.run_count = (size_t)run_count;
    for (int i = 0; i < run_count; i++) {
        runs[i] =
            (struct tt_run){.start_sample = (int64_t)i * 5 * RATE_HZ, .end_sample = ((int64_t)i * 5 + 4) * RATE_HZ};
        for (int s = 0; s < syllables[i]; s++)
            nuclei_at[heard.nucleus_count++] = runs[i].start_sample + (int64_t)s * RATE_HZ / 16;
    }
    heard.facts.frame_count = (int64_t)run_count * 5 * RATE_HZ;
    return heard;
}

static void pace_is_told_of_ten_seconds_of_speech_and_more(void **state)
{
    (void)state;
    static const int syllables[] = {16, 16, 16, 20, 20, 20, 40};
    struct tt_pace pace;
    struct tt_error error = {0};
    struct tt_heard heard = reading(syllables, 2); /* 8 s */
    assert_ok(tt_pace_find(&heard, NULL, &pace, &error), error);
    assert_true(pace.count == 0 && isnan(pace.syllables_per_s));
    tt_pace_free(&pace);
    heard = reading(syllables, 7); /* two stretches of 12 s; the rest is too short to tell */
    assert_ok(tt_pace_find(&heard, NULL, &pace, &error), error);
    assert_int_equal(pace.count, 2);
    assert_float_equal(pace.stretches[0].syllables_per_s, 4, 1e-9);
    assert_float_equal(pace.stretches[1].syllables_per_s, 5, 1e-9);
    assert_float_equal(pace.syllables_per_s, 4.5, 1e-9);
    assert_true(pace.stretches[1].start_sample == 15 * (int64_t)RATE_HZ &&
                pace.stretches[1].end_sample == 29 * (int64_t)RATE_HZ);
    tt_pace_free(&pace);
}

static void what_was_cut_has_no_pace(void **state)
{
    (void)state;
    static const int syllables[] = {40, 16, 16, 16, 40};
    struct tt_pace pace;
    struct tt_error error = {0};
    struct tt_heard heard = reading(syllables, 5);
    struct tt_stretch kept = {.source_start = 5 * RATE_HZ, .source_end = 20 * RATE_HZ};
    const struct tt_time_map map = {.rate_hz = RATE_HZ, .stretches = &kept, .count = 1, .out_samples = 15 * RATE_HZ};
    assert_ok(tt_pace_find(&heard, &map, &pace, &error), error);
    assert_int_equal(pace.count, 1);
    assert_float_equal(pace.syllables_per_s, 4, 1e-9);
    tt_pace_free(&pace);
}

static void a_syllable_on_a_run_s_edge_belongs_to_what_begins_there(void **state)
{
    (void)state;
    int64_t at_edges[] = {0, 10 * RATE_HZ};
    struct tt_run one = {.start_sample = 0, .end_sample = 10 * RATE_HZ};
    struct tt_heard heard = {.runs = &one, .run_count = 1, .nuclei = at_edges, .nucleus_count = 2};
    struct tt_pace pace;
    struct tt_error error = {0};
    heard.facts.rate_hz = RATE_HZ;
    assert_ok(tt_pace_find(&heard, NULL, &pace, &error), error);
    assert_float_equal(pace.syllables_per_s, 0.1, 1e-9);
    tt_pace_free(&pace);
}

static void the_own_range_needs_four_stretches_and_is_a_quarter_wide_at_least(void **state)
{
    (void)state;
    double paces[] = {4.0, 4.1, 3.9, 4.0, 6.0}, usual, least, most;
    assert_false(tt_pace_own_range(paces, 3, &usual, &least, &most));
    assert_true(tt_pace_own_range(paces, 5, &usual, &least, &most));
    assert_float_equal(usual, 4, 1e-9);
    assert_float_equal(least, 3, 1e-9);
    assert_float_equal(most, 5, 1e-9); /* 6 lies outside */
    double wide[] = {3, 4, 5, 6, 2};   /* who varies by nature is not told so */
    assert_true(tt_pace_own_range(wide, 5, &usual, &least, &most));
    assert_true(least < 2 && most > 6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pace_is_told_of_ten_seconds_of_speech_and_more),
        cmocka_unit_test(what_was_cut_has_no_pace),
        cmocka_unit_test(a_syllable_on_a_run_s_edge_belongs_to_what_begins_there),
        cmocka_unit_test(the_own_range_needs_four_stretches_and_is_a_quarter_wide_at_least),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
