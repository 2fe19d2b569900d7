/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sounds.h"

#include "dsp/band_levels.h"

static void a_flat_spectrum_reads_the_same_in_every_band(void **state)
{
    (void)state;
    static const int rates[] = {8000, 16000, 44100, 48000, 96000, 192000};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        struct tt_stft_shape shape = tt_stft_shape_for(rates[r]);
        struct tt_band_plan plan = tt_band_plan_for(shape);
        float *power = test_sound((size_t)shape.bin_count);
        for (int k = 0; k < shape.bin_count; k++)
            power[k] = 0.25f;
        struct tt_band_powers powers = tt_band_powers_of(&plan, power, shape.bin_count);
        assert_int_equal(plan.band_count, rates[r] >= 16000 ? TT_BANDS : 6);
        for (int b = 0; b < plan.band_count; b++)
            assert_within(powers.band[b], 0.25, 1e-6, 1e-6);
        assert_within(powers.all, 0.25, 1e-6, 1e-6);
        assert_within(powers.whole, 0.25, 1e-6, 1e-6);
        free(power);
    }
}

static void a_tone_stands_in_its_band_alone(void **state)
{
    (void)state;
    struct tt_stft_shape shape = tt_stft_shape_for(48000);
    struct tt_band_plan plan = tt_band_plan_for(shape);
    float *power = test_sound((size_t)shape.bin_count);
    power[1200 * shape.window_samples / 48000] = 1.0f; /* 1000-1600 Hz is the fourth band */
    struct tt_band_powers powers = tt_band_powers_of(&plan, power, shape.bin_count);
    for (int b = 0; b < TT_BANDS; b++)
        assert_true((powers.band[b] > 0.0f) == (b == 3));
    free(power);
}

/* The weights are 1 2 3 2 1; what lies beyond an end does not count. */
static void smoothing_weighs_five_frames_and_only_those_there_are(void **state)
{
    (void)state;
    struct tt_band_powers frames[5] = {0};
    for (int i = 0; i < 5; i++)
        frames[i].all = (float)(1 << i);
    const bool every[5] = {true, true, true, true, true}, late[5] = {false, false, true, true, true};
    assert_within(tt_band_powers_smooth(frames, every).all, (1 + 2 * 2 + 3 * 4 + 2 * 8 + 16) / 9.0, 1e-6, 1e-6);
    assert_within(tt_band_powers_smooth(frames, late).all, (3 * 4 + 2 * 8 + 16) / 6.0, 1e-6, 1e-6);
}

static void levels_and_powers_are_each_others_inverse(void **state)
{
    (void)state;
    for (double db = -139.0; db < 20.0; db += 0.37) {
        assert_within(tt_level_db_of((float)pow(10.0, db / 10.0)), db, 1e-3, 1e-3);
        assert_within(10.0 * log10((double)tt_power_of_level((float)db)), db, 1e-3, 1e-3);
    }
    assert_true(tt_level_db_of(0.0f) == -140.0f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_flat_spectrum_reads_the_same_in_every_band),
        cmocka_unit_test(a_tone_stands_in_its_band_alone),
        cmocka_unit_test(smoothing_weighs_five_frames_and_only_those_there_are),
        cmocka_unit_test(levels_and_powers_are_each_others_inverse),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
