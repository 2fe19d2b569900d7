/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Gains that are decided, and evening from line to line. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "stages/loudness.h"
#include "stages/stage.h"
#include "support.h"

enum { RATE_HZ = 48000, LINES = 3, SAMPLES = 10 * RATE_HZ };

struct made {
    struct tt_settings settings;
    struct tt_heard heard;
    struct tt_run runs[LINES];
    float out[SAMPLES];
};

/* Three lines of 2 s with pauses of 1 s: at -26, -20 and -23 dB. */
static void make(struct made *made, double even_db)
{
    static const float levels_db[LINES] = {-26, -20, -23};
    memset(made, 0, sizeof *made);
    tt_settings_default(&made->settings);
    made->settings.loudness.even_db = even_db;
    made->heard.facts.rate_hz = RATE_HZ;
    made->heard.facts.frame_count = SAMPLES;
    for (int i = 0; i < LINES; i++)
        made->runs[i] = (struct tt_run){
            .start_sample = (1 + 3 * i) * RATE_HZ, .end_sample = (3 + 3 * i) * RATE_HZ, .level_db = levels_db[i]};
    made->heard.runs = made->runs;
    made->heard.run_count = LINES;
}

/* The gain at each sample: what comes out of ones, in blocks of that many. */
static bool even(struct made *made, size_t block)
{
    struct tt_rendering rendering = {.heard = &made->heard, .settings = &made->settings};
    struct tt_link link = {0};
    struct tt_error error = {0};
    static float ones[SAMPLES];
    for (size_t i = 0; i < SAMPLES; i++)
        ones[i] = 1;
    assert_ok(tt_stage_loudness.render_open(&rendering, &link, &error), error);
    if (!link.run)
        return false;
    for (size_t at = 0; at < SAMPLES; at += block) {
        size_t count = SAMPLES - at < block ? SAMPLES - at : block;
        assert_int_equal(link.run(link.state, ones + at, count, made->out + at), count);
    }
    link.destroy(link.state);
    return true;
}

static double gain_db(const struct made *made, size_t sample) { return 20 * log10((double)made->out[sample]); }

static void lines_move_towards_the_median_line_by_no_more_than_even_db(void **state)
{
    (void)state;
    static struct made made;
    make(&made, 2);
    assert_true(even(&made, SAMPLES));
    assert_float_equal(gain_db(&made, 2 * RATE_HZ), 2, 1e-4); /* 3 dB under the median: held to 2 */
    assert_float_equal(gain_db(&made, 5 * RATE_HZ), -2, 1e-4);
    assert_float_equal(gain_db(&made, 8 * RATE_HZ), 0, 1e-4);
    make(&made, 12);
    assert_true(even(&made, SAMPLES));
    assert_float_equal(gain_db(&made, 2 * RATE_HZ), 3, 1e-4);
    assert_float_equal(gain_db(&made, 5 * RATE_HZ), -3, 1e-4);
}

static void no_gain_moves_within_a_line(void **state)
{
    (void)state;
    static struct made made;
    make(&made, 6);
    assert_true(even(&made, SAMPLES));
    for (int i = 0; i < LINES; i++)
        for (int64_t s = made.runs[i].start_sample; s < made.runs[i].end_sample; s++)
            if (made.out[s] != made.out[made.runs[i].start_sample])
                fail_msg("line %d moves at sample %lld", i, (long long)s);
    /* And between two it goes from one to the other without a jump. */
    for (int64_t s = 1; s < SAMPLES; s++)
        assert_true(fabs((double)made.out[s] - (double)made.out[s - 1]) < 1e-4);
}

static void evening_does_not_depend_on_how_the_sound_was_cut(void **state)
{
    (void)state;
    static struct made whole, cut;
    make(&whole, 6);
    make(&cut, 6);
    assert_true(even(&whole, SAMPLES));
    assert_true(even(&cut, 977));
    assert_memory_equal(whole.out, cut.out, sizeof whole.out);
}

static void without_even_db_there_is_nothing_to_do(void **state)
{
    (void)state;
    static struct made made;
    make(&made, 0);
    assert_false(even(&made, SAMPLES));
}

/* ---- the common gain ---- */

enum { TAKES = 5, STEPS = 200 };
struct takes {
    struct tt_settings settings;
    struct tt_heard heard[TAKES];
    struct tt_time_map maps[TAKES];
    struct tt_stretch stretches[TAKES];
    float steps[TAKES][STEPS];
    struct tt_gain_take gains[TAKES];
};

/* Takes of 20 s whose K-weighted power is even: BS.1770 then reads -0.691 + 10 lg(power). */
static void make_takes(struct takes *takes, const double lufs[TAKES])
{
    memset(takes, 0, sizeof *takes);
    tt_settings_default(&takes->settings);
    for (int t = 0; t < TAKES; t++) {
        for (int s = 0; s < STEPS; s++)
            takes->steps[t][s] = (float)pow(10, (lufs[t] + 0.691) / 10);
        takes->heard[t].facts.rate_hz = RATE_HZ;
        takes->heard[t].facts.frame_count = 20 * RATE_HZ;
        takes->heard[t].facts.before = (struct tt_levels){.integrated_lufs = lufs[t], .rms_dbfs = lufs[t] + 2};
        takes->heard[t].run_count = 1; /* somebody speaks in it */
        takes->heard[t].steps = takes->steps[t];
        takes->heard[t].step_count = STEPS;
        takes->stretches[t] = (struct tt_stretch){.source_start = 0, .source_end = 20 * RATE_HZ};
        takes->maps[t] = (struct tt_time_map){.rate_hz = RATE_HZ, .stretches = &takes->stretches[t], .count = 1};
        takes->gains[t] = (struct tt_gain_take){.heard = &takes->heard[t], .map = &takes->maps[t]};
    }
}

static double decide(struct takes *takes, double earlier_db)
{
    double common_db;
    struct tt_error error = {0};
    assert_ok(tt_loudness_decide(takes->gains, TAKES, &takes->settings, earlier_db, &common_db, &error), error);
    return common_db;
}

static void takes_alike_get_one_gain_and_one_that_lies_apart_its_own(void **state)
{
    (void)state;
    static struct takes takes;
    make_takes(&takes, (const double[TAKES]){-26, -26, -26, -26, -29.2});
    assert_float_equal(decide(&takes, NAN), 10, 1e-3); /* to -16 */
    for (int t = 0; t < 4; t++)
        assert_float_equal(takes.gains[t].gain_db, 10, 1e-3);
    assert_true(takes.gains[4].is_apart && !takes.gains[3].is_apart);
    assert_float_equal(takes.gains[4].gain_db, 13.2, 1e-3);
    make_takes(&takes, (const double[TAKES]){-26, -26, -26, -26, -28.8}); /* 2.8 LU: still of the same kind */
    double common_db = decide(&takes, NAN);
    assert_false(takes.gains[4].is_apart);
    assert_float_equal(takes.gains[4].gain_db, common_db, 0);
}

static void a_stored_gain_moves_only_when_it_is_off_by_more_than_a_fifth(void **state)
{
    (void)state;
    static struct takes takes;
    make_takes(&takes, (const double[TAKES]){-26, -26, -26, -26, -26});
    assert_float_equal(decide(&takes, 10.19), 10.19, 0);
    assert_float_equal(decide(&takes, 9.81), 9.81, 0);
    assert_float_equal(decide(&takes, 10.21), 10, 1e-3);
}

static void with_a_gain_for_each_take_each_is_exact_when_rendered(void **state)
{
    (void)state;
    static struct takes takes;
    make_takes(&takes, (const double[TAKES]){-26, -22, -26, -26, -26});
    takes.settings.loudness.across = TT_ACROSS_TAKE;
    assert_true(isnan(decide(&takes, 10)));
    for (int t = 0; t < TAKES; t++)
        assert_true(isnan(takes.gains[t].gain_db));
}

static void with_aim_rms_the_voices_colour_is_taken_into_account(void **state)
{
    (void)state;
    static struct takes takes;
    make_takes(&takes, (const double[TAKES]){-26, -26, -26, -26, -26}); /* their RMS is 2 dB higher: -24 */
    takes.settings.loudness.aim = TT_AIM_RMS;
    assert_float_equal(decide(&takes, NAN), 4, 1e-3); /* to -20 */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines_move_towards_the_median_line_by_no_more_than_even_db),
        cmocka_unit_test(no_gain_moves_within_a_line),
        cmocka_unit_test(evening_does_not_depend_on_how_the_sound_was_cut),
        cmocka_unit_test(without_even_db_there_is_nothing_to_do),
        cmocka_unit_test(takes_alike_get_one_gain_and_one_that_lies_apart_its_own),
        cmocka_unit_test(a_stored_gain_moves_only_when_it_is_off_by_more_than_a_fifth),
        cmocka_unit_test(with_a_gain_for_each_take_each_is_exact_when_rendered),
        cmocka_unit_test(with_aim_rms_the_voices_colour_is_taken_into_account),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
