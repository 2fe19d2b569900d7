/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Counting syllables in spectra that are made for it. That the rule counts 0.97 to 1.01 of the syllables of spoken
 * sentences was measured elsewhere. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/nuclei.h"
#include "sheet/pace.h"
#include "support.h"

/* Seconds of syllables: loudness swings by depth_db, so many times a second, at level_db. */
static void speak(struct tt_nuclei *nuclei, struct tt_stft_shape shape, double seconds, double rate, double depth_db,
                  double level_db, float voiced)
{
    struct tt_error error = {0};
    float *power = calloc((size_t)shape.bin_count, sizeof *power);
    const double frames_a_second = (double)shape.rate_hz / shape.hop_samples;
    for (int f = 0; f < (int)(seconds * frames_a_second); f++) {
        double db = level_db + depth_db / 2 * cos(2 * 3.14159265358979 * rate * f / frames_a_second);
        for (int k = 0; k < shape.bin_count; k++)
            power[k] = (float)pow(10, db / 10);
        assert_ok(tt_nuclei_add(nuclei, power, voiced, true, &error), error);
    }
    free(power);
}

static size_t count(struct tt_nuclei *nuclei)
{
    size_t found;
    assert_non_null(tt_nuclei_finish(nuclei, &found));
    tt_nuclei_destroy(nuclei);
    return found;
}

static void each_swing_of_loudness_is_a_syllable(void **state)
{
    (void)state;
    static const int rates_hz[] = {16000, 24000, 44100, 48000, 96000};
    for (size_t r = 0; r < sizeof rates_hz / sizeof *rates_hz; r++)
        for (double rate = 3; rate <= 7; rate += 2) {
            struct tt_error error = {0};
            struct tt_stft_shape shape = tt_stft_shape_for(rates_hz[r]);
            struct tt_nuclei *nuclei = tt_nuclei_create(shape, &error);
            assert_non_null(nuclei);
            speak(nuclei, shape, 20, rate, 12, -40, 0.9f);
            double found = (double)count(nuclei);
            if (fabs(found - 20 * rate) > 1)
                fail_msg("%d Hz, %.0f a second: %.0f found", rates_hz[r], rate, found);
        }
}

static void what_is_not_voiced_or_far_below_the_loudest_is_none(void **state)
{
    (void)state;
    struct tt_stft_shape shape = tt_stft_shape_for(48000);
    struct tt_error error = {0};
    struct tt_nuclei *nuclei = tt_nuclei_create(shape, &error);
    speak(nuclei, shape, 10, 4, 12, -40, 0.9f);
    speak(nuclei, shape, 10, 4, 12, -40, 0.2f); /* a hiss */
    speak(nuclei, shape, 10, 4, 12, -75, 0.9f); /* somebody in the next room */
    assert_true(fabs((double)count(nuclei) - 40) <= 1);
    nuclei = tt_nuclei_create(shape, &error);
    speak(nuclei, shape, 10, 4, 1, -40, 0.9f); /* a vowel that sways by less than 2 dB */
    assert_true(count(nuclei) <= 1);
}

/* ---- pace ---- */

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
        cmocka_unit_test(each_swing_of_loudness_is_a_syllable),
        cmocka_unit_test(what_is_not_voiced_or_far_below_the_loudest_is_none),
        cmocka_unit_test(pace_is_told_of_ten_seconds_of_speech_and_more),
        cmocka_unit_test(the_own_range_needs_four_stretches_and_is_a_quarter_wide_at_least),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
