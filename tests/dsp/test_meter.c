/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Signals of EBU Tech 3341 v4 table 1 and Tech 3342 table 1 (November 2023), made from their definitions, at half of
 * the published tolerances. Cases 7, 8 (3341) and 5, 6 (3342) are recordings and are not here. */
#include "sounds.h"

#include "dsp/loudness.h"
#include "dsp/meter.h"

enum { RATE_HZ = 48000 };
static const double half_tolerance_lu = 0.05;      /* Tech 3341: 0.1 */
static const double half_range_tolerance_lu = 0.5; /* Tech 3342: 1 */

struct tone {
    double seconds, level_dbfs;
};
static const double silence_dbfs = -INFINITY;

static const double stereo[] = {1.0, 1.0};

static struct tt_meter *stereo_meter(void)
{
    struct tt_error err = {0};
    struct tt_meter *meter = tt_meter_create_channels(RATE_HZ, stereo, 2, &err);
    assert_non_null(meter);
    return meter;
}

/* A stereo sine of 1 kHz in phase, as all of the tables' signals. */
static void add_tone(struct tt_meter *meter, double seconds, double level_dbfs)
{
    const size_t count = (size_t)llround(seconds * RATE_HZ);
    const double amplitude = pow(10.0, level_dbfs / 20.0);
    float *frames = test_sound(2 * count);
    float period[48]; /* of 1 kHz at 48 kHz */
    for (size_t i = 0; i < 48; i++)
        period[i] = (float)(amplitude * sin(2 * TEST_PI * (double)i / 48));
    for (size_t i = 0; i < count; i++)
        frames[2 * i] = frames[2 * i + 1] = period[i % 48];
    assert_true(tt_meter_add_frames(meter, frames, count, NULL));
    free(frames);
}

static struct tt_levels levels_of(const struct tone *tones, size_t count, size_t times)
{
    struct tt_meter *meter = stereo_meter();
    for (size_t i = 0; i < count * times; i++)
        add_tone(meter, tones[i % count].seconds, tones[i % count].level_dbfs);
    const struct tt_levels levels = tt_meter_result(meter);
    tt_meter_destroy(meter);
    return levels;
}

static void assert_lu(double value, double expected)
{
    assert_within(value, expected, half_tolerance_lu, half_tolerance_lu);
}

static void cases_1_and_2_read_the_level_of_a_steady_tone(void **state)
{
    (void)state;
    static const double levels_dbfs[] = {-23.0, -33.0};
    for (size_t i = 0; i < 2; i++) {
        const struct tone tone = {20.0, levels_dbfs[i]};
        const struct tt_levels levels = levels_of(&tone, 1, 1);
        assert_lu(levels.integrated_lufs, levels_dbfs[i]);
        assert_lu(levels.max_momentary_lufs, levels_dbfs[i]);
        assert_lu(levels.max_short_term_lufs, levels_dbfs[i]);
    }
}

static void cases_3_to_5_gate_what_is_quiet(void **state)
{
    (void)state;
    static const struct tone three[] = {{10, -36}, {60, -23}, {10, -36}};
    static const struct tone four[] = {{10, -72}, {10, -36}, {60, -23}, {10, -36}, {10, -72}};
    static const struct tone five[] = {{20, -26}, {20.1, -20}, {20, -26}};
    assert_lu(levels_of(three, 3, 1).integrated_lufs, -23.0);
    assert_lu(levels_of(four, 5, 1).integrated_lufs, -23.0);
    assert_lu(levels_of(five, 3, 1).integrated_lufs, -23.0);
}

static void case_6_weighs_five_channels(void **state)
{
    (void)state;
    static const double weights[] = {1.0, 1.0, 1.0, 1.41, 1.41}; /* BS.1770-5 table 3 */
    static const double levels_dbfs[] = {-28, -28, -24, -30, -30};
    enum { CHANNELS = 5, COUNT = 20 * RATE_HZ };
    float *frames = test_sound((size_t)COUNT * CHANNELS);
    for (size_t i = 0; i < COUNT; i++)
        for (size_t c = 0; c < CHANNELS; c++)
            frames[i * CHANNELS + c] =
                (float)(pow(10.0, levels_dbfs[c] / 20.0) * sin(2 * TEST_PI * 1000.0 * (double)i / RATE_HZ));
    struct tt_meter *meter = tt_meter_create_channels(RATE_HZ, weights, CHANNELS, NULL);
    assert_true(tt_meter_add_frames(meter, frames, COUNT, NULL));
    assert_lu(tt_meter_result(meter).integrated_lufs, -23.0);
    tt_meter_destroy(meter);
    free(frames);
}

/* BS.1770-5 Annex 1 eq. 4 to 7. Two tones of equal length whose power mean, less 10 LU, lies above or below the quieter
 * one; and two that only the absolute gate parts. Expected: means of what is left, the few blocks that hold both tones
 * apart. */
static void gates_lie_at_minus_70_lufs_and_10_lu_below_the_mean(void **state)
{
    (void)state;
    static const struct tone out[] = {{30, -20}, {30, -33.3}}, in[] = {{30, -20}, {30, -32.7}};
    static const struct tone absolute[] = {{30, -69.5}, {30, -70.5}};
    assert_lu(levels_of(out, 2, 1).integrated_lufs, -20.0);
    assert_lu(levels_of(in, 2, 1).integrated_lufs, 10.0 * log10((pow(10, -2.0) + pow(10, -3.27)) / 2));
    assert_lu(levels_of(absolute, 2, 1).integrated_lufs, -69.5);
}

/* Six blocks of 400 ms touch a tone of 400 ms when a block begins every 100 ms: 50, 75, 100, 75, 50 and 25 % of its
 * power. */
static void blocks_overlap_by_three_quarters(void **state)
{
    (void)state;
    static const struct tone tones[] = {{0.2, -INFINITY}, {0.4, -20}, {0.6, -INFINITY}};
    assert_lu(levels_of(tones, 3, 1).integrated_lufs, -20.0 + 10.0 * log10((0.5 + 0.75 + 1 + 0.75 + 0.5 + 0.25) / 6));
}

/* Tech 3342 3: behind a file of 3 s stand 15 more windows, of 29 to 15 thirtieths of its power. Nearest ranks of 16
 * values: 95 %: the 15th, 29/30; 10 %: the 3rd (round(1.5 + 1)), 17/30. */
static void silence_is_put_behind_a_file_for_the_range(void **state)
{
    (void)state;
    static const struct tone tone = {3, -20};
    assert_within(levels_of(&tone, 1, 1).loudness_range_lu, 10.0 * log10(29.0 / 17.0), 0.02, 0.02);
}

/* Every window of window_steps * 100 ms from first_step on. */
static void assert_constant(const struct tone *tones, size_t times, size_t window_steps, size_t first_step)
{
    struct tt_meter *meter = stereo_meter();
    for (size_t i = 0; i < 2 * times; i++)
        add_tone(meter, tones[i % 2].seconds, tones[i % 2].level_dbfs);
    size_t count;
    const float *steps = tt_meter_steps(meter, &count);
    assert_true(count > first_step + window_steps);
    for (size_t end = first_step + window_steps; end <= count; end++) {
        double sum = 0;
        for (size_t i = end - window_steps; i < end; i++)
            sum += steps[i];
        assert_lu(tt_lufs_from_power(sum / (double)window_steps), -23.0);
    }
    tt_meter_destroy(meter);
}

static void case_9_holds_the_short_term_reading(void **state)
{
    (void)state;
    static const struct tone tones[] = {{1.34, -20}, {1.66, -30}};
    assert_constant(tones, 5, 30, 0);
}

static void case_12_holds_the_momentary_reading(void **state)
{
    (void)state;
    static const struct tone tones[] = {{0.18, -20}, {0.22, -30}};
    assert_constant(tones, 25, 4, 6);
}

static void cases_10_and_13_find_the_maximum_wherever_it_lies(void **state)
{
    (void)state;
    for (int i = 0; i < 20; i++) {
        const struct tone ten[] = {{i * 0.15, silence_dbfs}, {3, -23}, {1, silence_dbfs}};
        const struct tone thirteen[] = {{i * 0.02, silence_dbfs}, {0.4, -23}, {1, silence_dbfs}};
        assert_lu(levels_of(ten, 3, 1).max_short_term_lufs, -23.0);
        assert_lu(levels_of(thirteen, 3, 1).max_momentary_lufs, -23.0);
    }
}

static void cases_11_and_14_follow_rising_maxima(void **state)
{
    (void)state;
    struct tt_meter *eleven = stereo_meter(), *fourteen = stereo_meter();
    for (int i = 0; i < 20; i++) {
        const double level = -38.0 + i;
        add_tone(eleven, i * 0.15, silence_dbfs);
        add_tone(eleven, 3, level);
        add_tone(eleven, 3 - i * 0.15, silence_dbfs);
        assert_lu(tt_meter_result(eleven).max_short_term_lufs, level);
        add_tone(fourteen, i * 0.02, silence_dbfs);
        add_tone(fourteen, 0.4, level);
        add_tone(fourteen, 0.4 - i * 0.02, silence_dbfs);
        assert_lu(tt_meter_result(fourteen).max_momentary_lufs, level);
    }
    tt_meter_destroy(eleven);
    tt_meter_destroy(fourteen);
}

/* Worst case of a 10 ms hop, by calculation: 10 log10(395 / 400) = -0.055 dB. */
static void a_burst_between_two_hops_is_under_read_by_less_than_0_06_db(void **state)
{
    (void)state;
    const struct tone tones[] = {{1.005, silence_dbfs}, {0.4, -23}, {1, silence_dbfs}};
    assert_within(levels_of(tones, 3, 1).max_momentary_lufs, -22.993, 0.06, 0.01);
}

static void tech_3342_cases_1_to_4_read_the_range(void **state)
{
    (void)state;
    static const struct tone one[] = {{20, -20}, {20, -30}}, two[] = {{20, -20}, {20, -15}},
                             three[] = {{20, -40}, {20, -20}};
    static const struct tone four[] = {{20, -50}, {20, -35}, {20, -20}, {20, -35}, {20, -50}};
    const double tolerance = half_range_tolerance_lu;
    assert_within(levels_of(one, 2, 1).loudness_range_lu, 10, tolerance, tolerance);
    assert_within(levels_of(two, 2, 1).loudness_range_lu, 5, tolerance, tolerance);
    assert_within(levels_of(three, 2, 1).loudness_range_lu, 20, tolerance, tolerance);
    assert_within(levels_of(four, 5, 1).loudness_range_lu, 15, tolerance, tolerance);
}

/* Tech 3342 1: the result does not change when a programme is repeated whole. The silence behind a file shifts it
 * slightly. */
static void range_is_the_same_when_the_sound_is_repeated(void **state)
{
    (void)state;
    static const struct tone tones[] = {{17, -20}, {9, -26}, {12, -33}};
    const double once = levels_of(tones, 3, 1).loudness_range_lu, thrice = levels_of(tones, 3, 3).loudness_range_lu;
    assert_within(thrice, once, 0.25, 0.25);
}

static struct tt_levels mono_sine(int rate_hz, double frequency_hz, double amplitude, double seconds, double weight)
{
    const size_t count = (size_t)llround(seconds * rate_hz);
    float *samples = test_sound(count);
    for (size_t i = 0; i < count; i++)
        samples[i] = (float)(amplitude * sin(2 * TEST_PI * frequency_hz * (double)i / rate_hz));
    struct tt_meter *meter = tt_meter_create(rate_hz, weight, NULL);
    assert_true(tt_meter_add(meter, samples, count, NULL));
    const struct tt_levels levels = tt_meter_result(meter);
    tt_meter_destroy(meter);
    free(samples);
    return levels;
}

/* BS.1770-5 Annex 1 for 48 kHz: -3.01 LKFS. Other rates: calculated from the filters' design parameters, not published.
 */
static void a_full_scale_sine_of_997_hz_reads_minus_3_01_at_every_rate(void **state)
{
    (void)state;
    static const struct {
        int rate_hz;
        double lufs;
    } rows[] = {
        {16000, -2.9701}, {22050, -2.981}, {32000, -2.996}, {44100, -3.0075}, {48000, -3.01028}, {96000, -3.0276},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_within(mono_sine(rows[i].rate_hz, 997.0, 1.0, 10.0, 1.0).integrated_lufs, rows[i].lufs, 0.001, 0.001);
    /* No figure of anyone's for these: the curve is the same, so the reading is near. */
    static const int others_hz[] = {8000, 11025, 24000, 88200, 176400, 192000};
    for (size_t i = 0; i < sizeof others_hz / sizeof *others_hz; i++)
        assert_within(mono_sine(others_hz[i], 997.0, 1.0, 10.0, 1.0).integrated_lufs, -3.01, 0.05, 0.1);
}

/* Tech 3341 2.9: 1 kHz in two channels at -18 dBFS reads -18.0 LUFS; the same in one reads 3.01 LU less. */
static void one_sound_in_two_channels_reads_3_01_lu_more(void **state)
{
    (void)state;
    const double amplitude = pow(10.0, -18.0 / 20.0);
    const double dual = mono_sine(RATE_HZ, 1000.0, amplitude, 10.0, 2.0).integrated_lufs;
    const double mono = mono_sine(RATE_HZ, 1000.0, amplitude, 10.0, 1.0).integrated_lufs;
    assert_lu(dual, -18.0);
    assert_within(dual - mono, 10.0 * log10(2.0), 1e-9, 1e-9);
}

/* The K-weighting curve at 48 kHz, both stages, calculated from the published coefficients. */
static void low_and_high_tones_are_weighted_by_the_curve(void **state)
{
    (void)state;
    static const struct {
        double hz, gain_db;
    } rows[] = {
        {20, -13.275},  {31.5, -7.790}, {50, -3.934},  {100, -1.134}, {200, -0.265},  {500, 0.043},
        {1000, 0.6977}, {2000, 3.071},  {4000, 3.968}, {8000, 4.039}, {20000, 4.043},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_within(mono_sine(RATE_HZ, rows[i].hz, 1.0, 8.0, 1.0).max_short_term_lufs,
                      rows[i].gain_db - 3.0103 - 0.691, 0.002, 0.02);
}

static void levels_of_a_sine_are_those_of_its_formula(void **state)
{
    (void)state;
    const struct tt_levels levels = mono_sine(RATE_HZ, 997.0, 0.5, 2.0, 1.0);
    assert_within(levels.rms_dbfs, -6.0206 - 3.0103, 0.001, 0.001);
    assert_within(levels.sample_peak_dbfs, -6.0206, 0.001, 0.001);
    assert_within(levels.max_true_peak_dbtp, -6.0206, 0.001, 0.001);
    assert_within(levels.duration_s, 2.0, 0, 0);
}

static void silence_reads_minus_infinity(void **state)
{
    (void)state;
    const struct tt_levels levels = mono_sine(RATE_HZ, 1000.0, 0.0, 10.0, 1.0);
    assert_true(isinf(levels.integrated_lufs) && levels.integrated_lufs < 0);
    assert_true(isinf(levels.max_momentary_lufs) && isinf(levels.max_short_term_lufs));
    assert_true(isinf(levels.max_true_peak_dbtp) && isinf(levels.sample_peak_dbfs) && isinf(levels.rms_dbfs));
    assert_true(isnan(levels.loudness_range_lu));
}

static void nothing_at_all_reads_minus_infinity(void **state)
{
    (void)state;
    const struct tt_levels levels = mono_sine(RATE_HZ, 1000.0, 0.0, 0.0, 1.0);
    assert_true(isinf(levels.integrated_lufs) && isinf(levels.rms_dbfs) && isinf(levels.max_true_peak_dbtp));
    assert_true(isnan(levels.loudness_range_lu));
}

static void sounds_shorter_than_a_window_have_no_loudness(void **state)
{
    (void)state;
    static const double seconds[] = {0.001, 0.0999, 0.1, 0.399, 0.4, 0.401, 2.99, 3.0};
    for (size_t i = 0; i < sizeof seconds / sizeof *seconds; i++) {
        const struct tt_levels levels = mono_sine(RATE_HZ, 1000.0, 0.5, seconds[i], 1.0);
        assert_int_equal(isfinite(levels.integrated_lufs), seconds[i] >= 0.4);
        assert_int_equal(isfinite(levels.max_momentary_lufs), seconds[i] >= 0.4);
        assert_int_equal(isfinite(levels.max_short_term_lufs), seconds[i] >= 3.0);
        assert_int_equal(isfinite(levels.loudness_range_lu), seconds[i] >= 3.0);
        assert_true(isfinite(levels.rms_dbfs));
    }
}

static void assert_same(const struct tt_levels *left, const struct tt_levels *right)
{
    assert_memory_equal(left, right, sizeof *left);
}

static void readings_do_not_depend_on_how_the_stream_is_cut(void **state)
{
    (void)state;
    static const int rates_hz[] = {11025, 22050, 44100, 48000};
    for (size_t r = 0; r < sizeof rates_hz / sizeof *rates_hz; r++) {
        const size_t count = (size_t)(7.777 * rates_hz[r]);
        float *samples = test_speech(rates_hz[r], count, 5);
        struct tt_meter *whole = tt_meter_create(rates_hz[r], 1.0, NULL),
                        *cut = tt_meter_create(rates_hz[r], 1.0, NULL);
        assert_true(tt_meter_add(whole, samples, count, NULL));
        uint32_t random = 9;
        for (size_t at = 0; at < count;) {
            const size_t most = count - at, part = (size_t)(700.0 * (1.0 + test_noise(&random)));
            assert_true(tt_meter_add(cut, samples + at, part < most ? part : most, NULL));
            at += part < most ? part : most;
        }
        const struct tt_levels left = tt_meter_result(whole), right = tt_meter_result(cut),
                               again = tt_meter_result(cut);
        assert_same(&left, &right);
        assert_same(&left, &again);
        tt_meter_destroy(whole);
        tt_meter_destroy(cut);
        free(samples);
    }
}

static void steps_give_the_integrated_loudness_of_any_stretch(void **state)
{
    (void)state;
    struct tt_meter *meter = stereo_meter();
    add_tone(meter, 5.0, -30.0);
    add_tone(meter, 5.0, -20.0);
    size_t count;
    const float *steps = tt_meter_steps(meter, &count);
    assert_int_equal(count, 100);
    assert_lu(tt_loudness_of_steps(steps, 50, 1.0), -30.0);
    assert_lu(tt_loudness_of_steps(steps + 50, 50, 1.0), -20.0);
    assert_within(tt_loudness_of_steps(steps + 50, 50, 2.0), -20.0 + 10.0 * log10(2.0), 0.05, 0.05);
    assert_within(tt_loudness_of_steps(steps, count, 1.0), tt_meter_result(meter).integrated_lufs, 0, 0);
    tt_meter_destroy(meter);
}

/* Without care, filters that ring out in silence compute with denormal numbers; here they would only be slow, so look
 * at the reading after it: it must be that of a new meter. */
static void a_long_silence_leaves_nothing_behind(void **state)
{
    (void)state;
    struct tt_meter *used = stereo_meter(), *fresh = stereo_meter();
    add_tone(used, 1.0, -1.0);
    add_tone(used, 60.0, silence_dbfs);
    add_tone(used, 1.0, -40.0);
    add_tone(fresh, 1.0, -40.0);
    size_t count, fresh_count;
    const float *steps = tt_meter_steps(used, &count), *fresh_steps = tt_meter_steps(fresh, &fresh_count);
    assert_memory_equal(steps + count - fresh_count, fresh_steps, fresh_count * sizeof *steps);
    tt_meter_destroy(used);
    tt_meter_destroy(fresh);
}

static void a_sample_that_is_no_number_spoils_only_its_own_step(void **state)
{
    (void)state;
    const size_t count = 5 * RATE_HZ;
    float *samples = test_speech(RATE_HZ, count, 3);
    samples[RATE_HZ] = NAN;
    struct tt_meter *meter = tt_meter_create(RATE_HZ, 1.0, NULL);
    assert_true(tt_meter_add(meter, samples, count, NULL));
    const struct tt_levels levels = tt_meter_result(meter);
    assert_true(isfinite(levels.integrated_lufs) && isfinite(levels.max_true_peak_dbtp));
    tt_meter_destroy(meter);
    free(samples);
}

static void impossible_shapes_are_refused(void **state)
{
    (void)state;
    struct tt_error err = {0};
    assert_null(tt_meter_create(0, 1.0, &err));
    assert_int_equal(err.kind, TT_ERROR_INTERNAL);
    assert_null(tt_meter_create_channels(RATE_HZ, stereo, 0, NULL));
    struct tt_meter *meter = stereo_meter();
    const float sample = 0;
    assert_false(tt_meter_add(meter, &sample, 1, NULL));
    tt_meter_destroy(meter);
    tt_meter_destroy(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cases_1_and_2_read_the_level_of_a_steady_tone),
        cmocka_unit_test(cases_3_to_5_gate_what_is_quiet),
        cmocka_unit_test(gates_lie_at_minus_70_lufs_and_10_lu_below_the_mean),
        cmocka_unit_test(blocks_overlap_by_three_quarters),
        cmocka_unit_test(silence_is_put_behind_a_file_for_the_range),
        cmocka_unit_test(case_6_weighs_five_channels),
        cmocka_unit_test(case_9_holds_the_short_term_reading),
        cmocka_unit_test(case_12_holds_the_momentary_reading),
        cmocka_unit_test(cases_10_and_13_find_the_maximum_wherever_it_lies),
        cmocka_unit_test(cases_11_and_14_follow_rising_maxima),
        cmocka_unit_test(a_burst_between_two_hops_is_under_read_by_less_than_0_06_db),
        cmocka_unit_test(tech_3342_cases_1_to_4_read_the_range),
        cmocka_unit_test(range_is_the_same_when_the_sound_is_repeated),
        cmocka_unit_test(a_full_scale_sine_of_997_hz_reads_minus_3_01_at_every_rate),
        cmocka_unit_test(one_sound_in_two_channels_reads_3_01_lu_more),
        cmocka_unit_test(low_and_high_tones_are_weighted_by_the_curve),
        cmocka_unit_test(levels_of_a_sine_are_those_of_its_formula),
        cmocka_unit_test(silence_reads_minus_infinity),
        cmocka_unit_test(nothing_at_all_reads_minus_infinity),
        cmocka_unit_test(sounds_shorter_than_a_window_have_no_loudness),
        cmocka_unit_test(readings_do_not_depend_on_how_the_stream_is_cut),
        cmocka_unit_test(steps_give_the_integrated_loudness_of_any_stretch),
        cmocka_unit_test(a_long_silence_leaves_nothing_behind),
        cmocka_unit_test(a_sample_that_is_no_number_spoils_only_its_own_step),
        cmocka_unit_test(impossible_shapes_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
