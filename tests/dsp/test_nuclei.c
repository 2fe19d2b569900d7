/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Counting syllables in spectra that are made for it. That the rule counts 0.97 to 1.01 of the syllables of spoken
 * sentences was measured elsewhere. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/nuclei.h"
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_swing_of_loudness_is_a_syllable),
        cmocka_unit_test(what_is_not_voiced_or_far_below_the_loudest_is_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
