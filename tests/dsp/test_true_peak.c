/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Signals of EBU Tech 3341 v4 table 1, cases 15 to 23, made from their definitions; and every shortcut against doing
 * without. */
#include "sounds.h"

#include "dsp/interpolator.h"
#include "dsp/limiter.h"

enum { RATE_HZ = 48000, TAPS = TT_INTERPOLATOR_TAPS };

static double true_peak_in_parts(int rate_hz, const float *samples, size_t count, size_t part)
{
    struct tt_true_peak *peak = tt_true_peak_create(rate_hz, NULL);
    assert_non_null(peak);
    for (size_t at = 0; at < count; at += part)
        tt_true_peak_add(peak, samples + at, count - at < part ? count - at : part);
    const double result = tt_true_peak_result(peak);
    tt_true_peak_destroy(peak);
    return result;
}

static double true_peak_db(const float *samples, size_t count)
{
    return 20.0 * log10(true_peak_in_parts(RATE_HZ, samples, count, count));
}

static void assert_case(const float *samples, size_t count, double expected_dbtp)
{
    assert_within(true_peak_db(samples, count), expected_dbtp, 0.4, 0.2); /* the published tolerance */
}

static double fade(size_t i, size_t count)
{
    const double from_end = (double)(i < count - 1 - i ? i : count - 1 - i), length = RATE_HZ / 100.0;
    return from_end < length ? from_end / length : 1.0;
}

static void cases_15_to_19_read_sines_whatever_their_phase(void **state)
{
    (void)state;
    static const struct {
        double divisor, amplitude, phase_degrees, expected_dbtp;
    } rows[] = {
        {4, 0.50, 0, -6.0}, {4, 0.50, 45, -6.0}, {6, 0.50, 60, -6.0}, {8, 0.50, 67.5, -6.0}, {4, 1.41, 45, 3.0},
    };
    enum { COUNT = RATE_HZ };
    float *samples = test_sound(COUNT);
    for (size_t r = 0; r < sizeof rows / sizeof *rows; r++) {
        for (size_t i = 0; i < COUNT; i++)
            samples[i] =
                (float)(rows[r].amplitude * fade(i, COUNT) *
                        sin(2 * TEST_PI * (double)i / rows[r].divisor + rows[r].phase_degrees * TEST_PI / 180.0));
        assert_case(samples, COUNT, rows[r].expected_dbtp);
    }
    free(samples);
}

/* At four times the rate: a sine of rate/6 at 0.50 in which one period of rate/4 at 1.00 is set, without a jump of
 * phase. */
static double *tone_with_one_period(size_t count)
{
    double *samples = calloc(count, sizeof *samples), phase = 0;
    assert_non_null(samples);
    const size_t begin = count / 2 / 24 * 24, period = 16; /* where the phase is 0 */
    for (size_t i = 0; i < count; i++) {
        const bool is_inside = i >= begin && i < begin + period;
        samples[i] = (is_inside ? 1.0 : 0.5) * sin(phase) * fade(i / 4, count / 4);
        phase += 2 * TEST_PI / (is_inside ? 16.0 : 24.0);
    }
    return samples;
}

/* The low-pass in front of the decimation is not defined by the table: a Hann-windowed sinc to 0.45 of the lower rate.
 */
static float decimated(const double *samples, size_t count, size_t at)
{
    enum { HALF = 160 };
    double sum = 0, total = 0;
    for (int k = -HALF; k <= HALF; k++) {
        const double x = TEST_PI * k * 2 * 0.45 / 4, window = 0.5 + 0.5 * cos(TEST_PI * k / (HALF + 1));
        const double tap = (k == 0 ? 1.0 : sin(x) / x) * window;
        const int64_t from = (int64_t)at - k;
        total += tap;
        if (from >= 0 && from < (int64_t)count)
            sum += tap * samples[from];
    }
    return (float)(sum / total);
}

static void cases_20_to_23_read_a_single_period_at_each_offset(void **state)
{
    (void)state;
    enum { COUNT = RATE_HZ / 4 };
    double *fine = tone_with_one_period(4 * COUNT);
    float *samples = test_sound(COUNT);
    for (size_t offset = 0; offset < 4; offset++) {
        for (size_t i = 0; i < COUNT; i++)
            samples[i] = decimated(fine, 4 * COUNT, 4 * i + offset);
        assert_case(samples, COUNT, 0.0);
    }
    free(fine);
    free(samples);
}

/* Without a kink, which would sound between the samples. */
static double smooth_fade(size_t i, size_t count)
{
    return 0.5 - 0.5 * cos(TEST_PI * fmin(1.0, 4.0 * (double)(i < count - 1 - i ? i : count - 1 - i) / (double)count));
}

/* The pass band: tones up to 20 kHz at 48 kHz, against the amplitude they are made with. BS.1770-5 attachment 1 to
 * Annex 2 gives the under-read of a grid of 16 points: 20 log10 cos(pi f / 16) dB. */
static void tones_up_to_20_khz_read_their_amplitude(void **state)
{
    (void)state;
    enum { COUNT = RATE_HZ };
    float *samples = test_sound(COUNT);
    static const double tones_hz[] = {20.5, 111.1, 997.0, 3011.0, 7001.0, 12011.0, 15013.0, 17011.0, 19001.0, 20000.0};
    for (size_t t = 0; t < sizeof tones_hz / sizeof *tones_hz; t++) {
        const double hz = tones_hz[t];
        for (size_t i = 0; i < COUNT; i++)
            samples[i] = (float)(0.5 * sin(2 * TEST_PI * hz * (double)i / RATE_HZ) * smooth_fade(i, COUNT));
        const double under_read = -20.0 * log10(cos(TEST_PI * hz / RATE_HZ / 16));
        assert_within(true_peak_db(samples, COUNT), 20.0 * log10(0.5), 0.002 + under_read, 0.002);
    }
    free(samples);
}

/* The gain of each phase, from its taps alone, against that of a true delay: 1. */
static void every_phase_is_flat_up_to_20_khz_at_48_khz(void **state)
{
    (void)state;
    struct tt_interpolator interpolator;
    tt_interpolator_init(&interpolator);
    for (size_t phase = 0; phase < TT_INTERPOLATOR_PHASES; phase++)
        for (int step = 0; step <= 100; step++) {
            const double turn = 2 * TEST_PI * (20000.0 / RATE_HZ) * step / 100;
            double real = 0, imaginary = 0;
            for (int k = 0; k < TAPS; k++) {
                real += (double)interpolator.taps[k][phase] * cos(turn * k);
                imaginary += (double)interpolator.taps[k][phase] * sin(turn * k);
            }
            assert_within(20.0 * log10(hypot(real, imaginary)), 0.0, 0.002, 0.002);
        }
}

static double shortcut_free_peak(const float *samples, size_t count)
{
    struct tt_interpolator interpolator;
    tt_interpolator_init(&interpolator);
    float *padded = test_sound(count + 2 * TAPS);
    memcpy(padded + TAPS, samples, count * sizeof *samples);
    float highest = 0;
    for (size_t i = TT_INTERPOLATOR_BEHIND; i + TT_INTERPOLATOR_AHEAD < count + 2 * TAPS; i++) {
        const float peak = tt_interpolator_peak(&interpolator, padded + i);
        highest = peak > highest ? peak : highest;
    }
    free(padded);
    return (double)highest;
}

enum sound { SPEECH, NOISE, SIGNS, NEAR_HALF_RATE, RAMP, CLICKS, SOUNDS };

static float *sound_of(enum sound sound, size_t count, uint32_t seed)
{
    if (sound == SPEECH)
        return test_speech(RATE_HZ, count, seed);
    float *samples = test_sound(count);
    for (size_t i = 0; i < count; i++) {
        const double random = test_noise(&seed), t = (double)i;
        const double values[SOUNDS] = {
            [NOISE] = random,
            [SIGNS] = random < 0 ? -1.0 : 1.0,
            [NEAR_HALF_RATE] = sin(TEST_PI * 0.997 * t) * (1.0 + 1e-3 * random),
            [RAMP] = t / (double)count,
            [CLICKS] = random > 0.99 ? 1.0 : 0.0,
        };
        samples[i] = (float)values[sound];
    }
    return samples;
}

static void skipping_what_cannot_matter_changes_nothing(void **state)
{
    (void)state;
    for (int sound = 0; sound < SOUNDS; sound++)
        for (uint32_t seed = 1; seed <= 6; seed++) {
            const size_t count = 6000 + 777 * seed;
            float *samples = sound_of((enum sound)sound, count, seed);
            const double expected = shortcut_free_peak(samples, count);
            assert_within(true_peak_in_parts(RATE_HZ, samples, count, count), expected, 0, 0);
            assert_within(true_peak_in_parts(RATE_HZ, samples, count, 1), expected, 0, 0);
            assert_within(true_peak_in_parts(RATE_HZ, samples, count, 479), expected, 0, 0);
            free(samples);
        }
}

/* The screen must let pass every interval in which a point lies above the threshold, and be of use. */
static void the_bound_misses_nothing_and_saves_most(void **state)
{
    (void)state;
    struct tt_interpolator interpolator;
    tt_interpolator_init(&interpolator);
    size_t looked_at = 0, all = 0;
    for (int sound = 0; sound < SOUNDS; sound++) {
        enum { COUNT = 9600 };
        float *samples = sound_of((enum sound)sound, COUNT, 3);
        const float threshold = 0.6F * tt_sample_peak(samples, COUNT);
        for (size_t at = TAPS; at + 2 * TAPS < COUNT; at += TT_INTERPOLATOR_SCREEN) {
            const uint32_t mask =
                tt_interpolator_screen(&interpolator, samples + at, TT_INTERPOLATOR_SCREEN, threshold);
            for (size_t i = 0; i < TT_INTERPOLATOR_SCREEN; i++) {
                const bool passes = ((mask >> i) & 1U) != 0;
                assert_true(passes || tt_interpolator_peak(&interpolator, samples + at + i) <= threshold);
                looked_at += sound == SPEECH && passes;
                all += sound == SPEECH;
            }
        }
        free(samples);
    }
    assert_true(looked_at > 0 && looked_at * 10 < all);
}

static void what_rings_past_both_ends_is_read(void **state)
{
    (void)state;
    /* Alternating full-scale samples rise between the last two, and ring where no sample is. */
    static const float two[] = {1.0F, -1.0F}, equal[] = {1.0F, 1.0F};
    assert_within(true_peak_in_parts(RATE_HZ, two, 2, 2), shortcut_free_peak(two, 2), 0, 0);
    assert_true(true_peak_in_parts(RATE_HZ, two, 2, 2) > 1.05);
    assert_within(true_peak_in_parts(RATE_HZ, equal, 2, 2), 4.0 / TEST_PI, 0.03,
                  0.03); /* two sinc pulses in their middle */
    /* The ramp's last step is the highest point, and its ringing lies behind the end. */
    float ramp[100];
    for (size_t i = 0; i < 100; i++)
        ramp[i] = (float)i / 99.0F;
    assert_true(true_peak_in_parts(RATE_HZ, ramp, 100, 100) > 1.0);
}

static void constants_and_silence_are_read_exactly(void **state)
{
    (void)state;
    float samples[4000] = {0};
    assert_within(true_peak_in_parts(RATE_HZ, samples, 4000, 4000), 0, 0, 0);
    assert_within(true_peak_in_parts(RATE_HZ, samples, 0, 1), 0, 0, 0);
    for (size_t i = 0; i < 4000;
         i++) /* BS.1770-5 attachment 1: what is constant counts; slow ends, so that nothing rings */
        samples[i] = (float)(0.25 * fmin(1.0, 8.0 * fade(i, 4000)));
    assert_within(true_peak_in_parts(RATE_HZ, samples, 4000, 4000), 0.25, 1e-6, 1e-3);
}

static void a_result_asked_for_twice_is_the_same(void **state)
{
    (void)state;
    struct tt_true_peak *peak = tt_true_peak_create(RATE_HZ, NULL);
    const float samples[] = {0.5F, 0.9F, -0.9F};
    tt_true_peak_add(peak, samples, 3);
    const double first = tt_true_peak_result(peak);
    assert_within(tt_true_peak_result(peak), first, 0, 0);
    tt_true_peak_destroy(peak);
    tt_true_peak_destroy(NULL);
    struct tt_error err = {0};
    assert_null(tt_true_peak_create(0, &err));
    assert_int_equal(err.kind, TT_ERROR_INTERNAL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cases_15_to_19_read_sines_whatever_their_phase),
        cmocka_unit_test(cases_20_to_23_read_a_single_period_at_each_offset),
        cmocka_unit_test(tones_up_to_20_khz_read_their_amplitude),
        cmocka_unit_test(every_phase_is_flat_up_to_20_khz_at_48_khz),
        cmocka_unit_test(skipping_what_cannot_matter_changes_nothing),
        cmocka_unit_test(the_bound_misses_nothing_and_saves_most),
        cmocka_unit_test(what_rings_past_both_ends_is_read),
        cmocka_unit_test(constants_and_silence_are_read_exactly),
        cmocka_unit_test(a_result_asked_for_twice_is_the_same),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
