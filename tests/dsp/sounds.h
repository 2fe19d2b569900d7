/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Made sounds for the tests of meters and limiter. */
#ifndef TT_TESTS_DSP_SOUNDS_H
#define TT_TESTS_DSP_SOUNDS_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define TEST_PI 3.14159265358979323846

static inline void assert_within(double value, double expected, double below, double above)
{
    if (!(value >= expected - below && value <= expected + above))
        fail_msg("%.5f is not %.5f (-%.5f, +%.5f)", value, expected, below, above);
}

static inline float *test_sound(size_t count)
{
    float *samples = calloc(count + 1, sizeof *samples);
    assert_non_null(samples);
    return samples;
}

/* -1 to 1, the same on every machine. */
static inline double test_noise(uint32_t *state)
{
    *state = *state * 1664525U + 1013904223U;
    return (double)*state / 2147483648.0 - 1.0;
}

/* Noise in syllables: two resonances that move, a level that rises and falls, pauses. Largest sample 0.5. */
static inline float *test_speech(int rate_hz, size_t count, uint32_t state)
{
    float *samples = test_sound(count);
    double low[2] = {0}, high[2] = {0}, peak = 0;
    for (size_t i = 0; i < count; i++) {
        const double s = (double)i / rate_hz, syllable = sin(TEST_PI * 2.1 * s);
        const double voice = fmod(s, 3.1) < 2.4 ? syllable * syllable * (0.6 + 0.4 * sin(1.7 * s)) : 1e-3;
        const double pulse = fmod(s * 118.0, 1.0) < 118.0 / rate_hz ? 8.0 : 0.0;
        const double drive = voice * (0.4 * test_noise(&state) + pulse);
        const double low_hz = 550.0 + 150.0 * sin(3.0 * s), high_hz = 2300.0 + 700.0 * sin(5.0 * s);
        const double low_out = drive + 1.9 * cos(2 * TEST_PI * low_hz / rate_hz) * low[0] - 0.9025 * low[1];
        const double high_out = drive + 1.8 * cos(2 * TEST_PI * high_hz / rate_hz) * high[0] - 0.81 * high[1];
        low[1] = low[0], low[0] = low_out, high[1] = high[0], high[0] = high_out;
        samples[i] = (float)(low_out + 0.4 * high_out);
        peak = fmax(peak, fabs((double)samples[i]));
    }
    for (size_t i = 0; i < count; i++)
        samples[i] = (float)(samples[i] * 0.5 / peak);
    return samples;
}

#endif
