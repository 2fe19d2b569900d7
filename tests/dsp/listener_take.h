/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes made for the listener's tests: lines of a made voice, hiss, breaths, clicks, rooms, with known places. */
#ifndef TT_TESTS_DSP_LISTENER_TAKE_H
#define TT_TESTS_DSP_LISTENER_TAKE_H

#include "sounds.h"

#include "dsp/listener.h"
#include "dsp/stft.h"

struct made_take {
    int rate_hz;
    size_t count;
    float *samples;
    uint32_t random;
};

static inline struct made_take made_take_open(int rate_hz, double seconds)
{
    struct made_take take = {.rate_hz = rate_hz, .count = (size_t)(seconds * rate_hz), .random = 12345};
    take.samples = test_sound(take.count);
    return take;
}

static inline double made_amplitude(double db) { return pow(10.0, db / 20.0); }

/* White noise of an RMS level from one time to another. */
static inline void add_room(struct made_take *take, double from_s, double to_s, double rms_db)
{
    double scale = made_amplitude(rms_db) * sqrt(3.0);
    size_t end = (size_t)(to_s * take->rate_hz);
    for (size_t i = (size_t)(from_s * take->rate_hz); i < end && i < take->count; i++)
        take->samples[i] += (float)(scale * test_noise(&take->random));
}

static inline void add_hum(struct made_take *take, double hz, double rms_db)
{
    for (size_t i = 0; i < take->count; i++)
        for (int k = 1; k <= 6; k++)
            take->samples[i] += (float)(made_amplitude(rms_db - 4.0 * (k - 1)) *
                                        sin(2.0 * TEST_PI * hz * k * (double)i / take->rate_hz + k));
}

/* A voice of some 120 Hz whose pitch glides and whose level moves as in syllables, 10 ms ramps; about rms_db. */
static inline void add_voice(struct made_take *take, double from_s, double to_s, double rms_db)
{
    enum { PERIOD = 4096 };
    float period[PERIOD];
    for (int p = 0; p < PERIOD; p++) {
        double x = 0.0;
        for (int k = 1; k <= 30 && k * 140.0 < 0.45 * take->rate_hz; k++)
            x += sin(2.0 * TEST_PI * k * p / PERIOD + k * k) / pow(k, 0.8);
        period[p] = (float)x;
    }
    double phase = 0.0;
    for (size_t i = (size_t)(from_s * take->rate_hz); i < (size_t)(to_s * take->rate_hz) && i < take->count; i++) {
        double t = (double)i / take->rate_hz, in = (t - from_s) / 0.01, out = (to_s - t) / 0.01;
        double shape = fmin(1.0, fmin(in, out)) * (0.7 + 0.3 * sin(2.0 * TEST_PI * 4.0 * (t - from_s)));
        phase += (120.0 + 20.0 * sin(3.0 * t)) / take->rate_hz;
        take->samples[i] += (float)(made_amplitude(rms_db) * shape) * period[(int)(phase * PERIOD) % PERIOD];
    }
}

/* Noise through one resonance, raised-cosine ramps of ramp_s; rms_db in its middle. */
static inline void add_hiss(struct made_take *take, double from_s, double to_s, double centre_hz, double width,
                            double ramp_s, double rms_db)
{
    size_t from = (size_t)(from_s * take->rate_hz), count = (size_t)((to_s - from_s) * take->rate_hz);
    double w = 2.0 * TEST_PI * centre_hz / take->rate_hz, r = exp(-0.5 * width * w), y1 = 0.0, y2 = 0.0, sum = 0.0;
    double *y = calloc(count + 1, sizeof *y);
    assert_non_null(y);
    for (size_t i = 0; i < count; i++) {
        double now = test_noise(&take->random) + 2.0 * r * cos(w) * y1 - r * r * y2;
        y[i] = now - y2; /* a zero at either end of the band keeps it in place */
        y2 = y1;
        y1 = now;
        sum += y[i] * y[i];
    }
    double scale = made_amplitude(rms_db) / sqrt(sum / (double)count);
    for (size_t i = 0; i < count && from + i < take->count; i++) {
        double t = (double)i / take->rate_hz, edge = fmin(1.0, fmin(t, to_s - from_s - t) / ramp_s);
        take->samples[from + i] += (float)(scale * (0.5 - 0.5 * cos(TEST_PI * edge)) * y[i]);
    }
    free(y);
}

/* An intake: three broad resonances that swell and fall. */
static inline void add_breath(struct made_take *take, double from_s, double to_s, double rms_db)
{
    double ramp_s = 0.35 * (to_s - from_s);
    add_hiss(take, from_s, to_s, 950.0, 0.5, ramp_s, rms_db - 2.0);
    add_hiss(take, from_s, to_s, 1900.0, 0.4, ramp_s, rms_db - 4.0);
    add_hiss(take, from_s, to_s, 4200.0, 0.5, ramp_s, rms_db - 8.0);
}

static inline void add_click(struct made_take *take, double at_s, double peak_db)
{
    size_t from = (size_t)(at_s * take->rate_hz), count = (size_t)(0.006 * take->rate_hz);
    for (size_t i = 0; i < count && from + i < take->count; i++)
        take->samples[from + i] +=
            (float)(made_amplitude(peak_db) * test_noise(&take->random) * exp(-(double)i / (0.0015 * take->rate_hz)));
}

/* What the listener made of it. states holds one a frame, taken when they settled. */
struct heard_take {
    struct tt_listener *listener;
    const struct tt_run *runs;
    const struct tt_sound *sounds;
    size_t run_count, sound_count;
    uint8_t *states;
    int64_t frames;
    double rate_hz, hop;
};

static inline void read_states(struct heard_take *heard, int64_t *known)
{
    for (; *known < tt_listener_settled(heard->listener); ++*known)
        heard->states[*known] = (uint8_t)tt_listener_state(heard->listener, *known);
}

static inline struct heard_take hear_take(const struct made_take *take)
{
    struct tt_error err = {0};
    struct tt_stft_shape shape = tt_stft_shape_for(take->rate_hz);
    struct tt_stft *stft = tt_stft_create(shape, &err);
    struct heard_take heard = {
        .listener = tt_listener_create(shape, &err), .rate_hz = take->rate_hz, .hop = shape.hop_samples};
    assert_non_null(stft);
    assert_non_null(heard.listener);
    size_t hop = (size_t)shape.hop_samples, half = (size_t)shape.window_samples / 2;
    heard.frames = (int64_t)((take->count + hop - 1) / hop);
    float *padded = test_sound(take->count + 2 * (size_t)shape.window_samples),
          *power = test_sound((size_t)shape.bin_count);
    heard.states = calloc((size_t)heard.frames + 1, 1);
    assert_non_null(heard.states);
    if (take->count > 0)
        memcpy(padded + half, take->samples, take->count * sizeof *padded);
    int64_t known = 0;
    for (int64_t k = 0; k < heard.frames; k++) {
        tt_stft_powers(stft, padded + (size_t)k * hop, power);
        assert_true(tt_listener_add(heard.listener, power, padded + half + (size_t)k * hop, &err));
        assert_true(k + 1 - tt_listener_settled(heard.listener) <= tt_listener_delay_frames(heard.listener));
        read_states(&heard, &known);
    }
    assert_true(tt_listener_finish(heard.listener, (int64_t)take->count, &err));
    assert_int_equal(tt_listener_settled(heard.listener), heard.frames);
    read_states(&heard, &known);
    heard.runs = tt_listener_runs(heard.listener, &heard.run_count);
    heard.sounds = tt_listener_sounds(heard.listener, &heard.sound_count);
    free(padded);
    free(power);
    tt_stft_destroy(stft);
    return heard;
}

static inline void heard_take_free(struct heard_take *heard, struct made_take *take)
{
    tt_listener_destroy(heard->listener);
    free(heard->states);
    free(take->samples);
}

static inline double run_start_s(const struct heard_take *heard, size_t run)
{
    return (double)heard->runs[run].start_sample / heard->rate_hz;
}
static inline double run_end_s(const struct heard_take *heard, size_t run)
{
    return (double)heard->runs[run].end_sample / heard->rate_hz;
}

/* Sounds of a kind with more than half of their length between two times. */
static inline size_t sounds_between(const struct heard_take *heard, enum tt_sound_kind kind, double from_s, double to_s)
{
    size_t count = 0;
    for (size_t i = 0; i < heard->sound_count; i++) {
        double middle_s = 0.5 * (double)(heard->sounds[i].start_sample + heard->sounds[i].end_sample) / heard->rate_hz;
        count += heard->sounds[i].kind == kind && middle_s >= from_s && middle_s <= to_s;
    }
    return count;
}

static inline int states_between(const struct heard_take *heard, enum tt_frame_state state, double from_s, double to_s)
{
    int count = 0;
    for (int64_t k = (int64_t)ceil(from_s * heard->rate_hz / heard->hop);
         k < heard->frames && (double)k * heard->hop < to_s * heard->rate_hz; k++)
        count += heard->states[k] == (uint8_t)state;
    return count;
}

#endif
