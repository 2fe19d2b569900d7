/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Against libebur128 as an independent implementation. Where it is known to differ: momentary and short-term maxima are
 * taken at whatever moments a caller asks, not at a fixed hop; no silence is put behind a file for the range (Tech 3342
 * 3); true peak is by 4 times oversampling (2 times from 96 kHz on) and ends with the last sample, so it may read up to
 * 0.5 dB less. */
#include "sounds.h"

#include <ebur128.h>

#include "dsp/meter.h"

static void assert_agrees(int rate_hz, uint32_t seed)
{
    const size_t count = (size_t)rate_hz * 31;
    float *samples = test_speech(rate_hz, count, seed);
    double integrated, range, peak;
    ebur128_state *reference =
        ebur128_init(1, (unsigned long)rate_hz, EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_TRUE_PEAK);
    assert_non_null(reference);
    assert_int_equal(ebur128_add_frames_float(reference, samples, count), EBUR128_SUCCESS);
    ebur128_loudness_global(reference, &integrated);
    ebur128_loudness_range(reference, &range);
    ebur128_true_peak(reference, 0, &peak);
    ebur128_destroy(&reference);

    struct tt_meter *meter = tt_meter_create(rate_hz, 1.0, NULL);
    assert_true(tt_meter_add(meter, samples, count, NULL));
    const struct tt_levels levels = tt_meter_result(meter);
    tt_meter_destroy(meter);
    free(samples);
    assert_within(levels.integrated_lufs, integrated, 0.005, 0.005);
    assert_within(levels.loudness_range_lu, range, 0.5, 0.5);
    assert_within(levels.max_true_peak_dbtp, 20.0 * log10(peak), 0.2, 0.5);
}

static void speech_like_noise_reads_as_the_reference_library_reads_it(void **state)
{
    (void)state;
    static const int rates_hz[] = {16000, 22050, 44100, 48000, 96000};
    for (size_t i = 0; i < sizeof rates_hz / sizeof *rates_hz; i++)
        assert_agrees(rates_hz[i], 17 + (uint32_t)i);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(speech_like_noise_reads_as_the_reference_library_reads_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
