/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>

#include "dsp/third_octaves.h"

enum { MOST_BINS = 4096 };
static double power[MOST_BINS], thirds[TT_THIRDS];

static void centres_are_those_of_the_standard(void **state)
{
    (void)state; /* IEC 61260-1, exact base-ten values, to the digits that its tables give */
    assert_true(fabs(tt_third_centre_hz(0) - 100.00) < 0.005);
    assert_true(fabs(tt_third_centre_hz(4) - 251.19) < 0.005);
    assert_true(fabs(tt_third_centre_hz(10) - 1000.0) < 0.05);
    assert_true(fabs(tt_third_centre_hz(TT_THIRDS - 1) - 15849) < 0.5);
}

static void white_noise_rises_by_one_decibel_a_band(void **state)
{
    (void)state; /* a band's width is 10^0.05 - 10^-0.05 of its centre; noise of power 1 spreads evenly up to half the
                    rate */
    struct tt_stft_shape shape = tt_stft_shape_for(48000);
    for (int k = 0; k < shape.bin_count; k++)
        power[k] = 1;
    tt_third_octaves(shape, power, thirds);
    for (int band = 0; band < TT_THIRDS; band++) {
        double share = tt_third_centre_hz(band) * (pow(10, 0.05) - pow(10, -0.05)) / 24000;
        assert_true(fabs(thirds[band] / share - 1) < 1e-9);
    }
}

static void one_bin_falls_into_its_own_band(void **state)
{
    (void)state;
    struct tt_stft_shape shape = tt_stft_shape_for(48000);
    int bin = (int)lround(4000.0 * shape.window_samples / 48000);
    for (int k = 0; k < shape.bin_count; k++)
        power[k] = k == bin;
    tt_third_octaves(shape, power, thirds);
    for (int band = 0; band < TT_THIRDS; band++)
        assert_true(fabs(thirds[band] - (band == 16 ? 2.0 / shape.window_samples : 0)) < 1e-12);
}

static void above_half_the_rate_there_is_nothing(void **state)
{
    (void)state;
    struct tt_stft_shape shape = tt_stft_shape_for(8000);
    for (int k = 0; k < shape.bin_count; k++)
        power[k] = 1;
    tt_third_octaves(shape, power, thirds);
    assert_true(thirds[17] <= 0 && thirds[TT_THIRDS - 1] <= 0 && thirds[10] > 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(centres_are_those_of_the_standard),
        cmocka_unit_test(white_noise_rises_by_one_decibel_a_band),
        cmocka_unit_test(one_bin_falls_into_its_own_band),
        cmocka_unit_test(above_half_the_rate_there_is_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
