/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Gaussian noise and floor tracks for the tests of the noise side. */
#ifndef TT_TESTS_DSP_NOISE_SOUNDS_H
#define TT_TESTS_DSP_NOISE_SOUNDS_H

#include "dsp/floor_track.h"
#include "sounds.h"

/* Nearly Gaussian: twelve uniform numbers. Deviation 1. */
static inline double test_gaussian(uint32_t *state)
{
    double sum = 0;
    for (int i = 0; i < 12; i++)
        sum += 0.5 * test_noise(state);
    return sum;
}

static inline void add_white(float *samples, size_t count, double rms, uint32_t state)
{
    for (size_t i = 0; i < count; i++)
        samples[i] += (float)(rms * test_gaussian(&state));
}

static inline void add_tone(float *samples, size_t count, int rate_hz, double frequency_hz, double amplitude)
{
    for (size_t i = 0; i < count; i++)
        samples[i] += (float)(amplitude * sin(2 * TEST_PI * frequency_hz * (double)i / rate_hz));
}

static inline double level_db(const float *samples, size_t count)
{
    double sum = 1e-20;
    for (size_t i = 0; i < count; i++)
        sum += (double)samples[i] * (double)samples[i];
    return 10 * log10(sum / (double)count);
}

/* Frames of samples into an estimator; is_quiet(second) tells which are pauses. */
static inline struct tt_floor_track track_of(const float *samples, size_t count, int rate_hz, double window_s,
                                             bool (*is_quiet)(double second))
{
    struct tt_error err = {0};
    const struct tt_stft_shape shape = tt_stft_shape_for(rate_hz);
    struct tt_stft *stft = tt_stft_create(shape, &err);
    struct tt_floor_estimator *estimator = tt_floor_estimator_create(shape, window_s, &err);
    struct tt_floor_track track = {0};
    float *power = test_sound((size_t)shape.bin_count);
    float *window = test_sound((size_t)shape.window_samples);
    assert_non_null(stft);
    assert_non_null(estimator);
    for (int64_t at = 0; at < (int64_t)count; at += shape.hop_samples) {
        for (int i = 0; i < shape.window_samples; i++) {
            const int64_t from = at - shape.window_samples / 2 + i;
            window[i] = from >= 0 && from < (int64_t)count ? samples[from] : 0.0f;
        }
        tt_stft_powers(stft, window, power);
        assert_true(tt_floor_estimator_add(estimator, at, power, is_quiet((double)at / rate_hz), &err));
    }
    assert_true(tt_floor_estimator_finish(estimator, &track, &err));
    tt_floor_estimator_destroy(estimator);
    tt_stft_destroy(stft);
    free(power);
    free(window);
    return track;
}

static inline double floor_db_at(const struct tt_floor_track *track, double second)
{
    float *power = test_sound((size_t)track->shape.bin_count);
    tt_floor_at(track, (int64_t)(second * track->shape.rate_hz), power);
    const double db = 10 * log10(tt_floor_mean_square(track, power));
    free(power);
    return db;
}

/* A track of one node, the same power in every bin. */
static inline struct tt_floor_track flat_track(int rate_hz, double power)
{
    struct tt_floor_track track = {.shape = tt_stft_shape_for(rate_hz), .node_count = 1};
    track.node_sample = calloc(1, sizeof *track.node_sample);
    track.power = test_sound((size_t)track.shape.bin_count);
    assert_non_null(track.node_sample);
    for (int i = 0; i < track.shape.bin_count; i++)
        track.power[i] = (float)power;
    return track;
}

#endif
