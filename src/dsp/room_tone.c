/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/room_tone.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/fast_math.h"

/* Frames of one hop: each frame's spectrum is Gaussian noise drawn from the seed and the frame's number alone, shaped
 * by the floor, so that the same tone comes out however it is asked for. */
struct tt_room_tone {
    const struct tt_floor_track *track;
    struct tt_stft_shape shape;
    struct tt_stft *stft;
    float scale; /* from sqrt(power) to one part of a bin */
    uint64_t seed, frame;
    float *spectrum, *power, *overlap;
    float *colour; /* by bin, on top of scale */
    int at;        /* next sample of the finished hop; hop_samples when it is used up */
};

/* SplitMix64's output function (Steele, Lea & Flood 2014), from memory. */
static uint64_t scramble(uint64_t x)
{
    x += 0x9e3779b97f4a7c15U;
    x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9U;
    x = (x ^ (x >> 27)) * 0x94d049bb133111ebU;
    return x ^ (x >> 31);
}

/* Nearly Gaussian, mean 0 and variance 1: four uniform 16-bit numbers. A bin's two parts go through a transform that
 * adds hundreds of them, so what is heard is Gaussian. */
static float gaussian(uint64_t bits)
{
    const int32_t sum = (int32_t)(bits & 0xffff) + (int32_t)((bits >> 16) & 0xffff) + (int32_t)((bits >> 32) & 0xffff) +
                        (int32_t)(bits >> 48);
    const float deviation = 37837.2F; /* sqrt(4 (2^32 - 1) / 12) */
    return ((float)sum - 131070.0F) / deviation;
}

struct tt_room_tone *tt_room_tone_create(const struct tt_floor_track *track, double gain, uint64_t seed,
                                         struct tt_error *err)
{
    struct tt_room_tone *tone = calloc(1, sizeof *tone);
    if (!tone) {
        tt_fail_memory(err);
        return NULL;
    }
    const size_t bins = (size_t)track->shape.bin_count, window = (size_t)track->shape.window_samples;
    tone->track = track;
    tone->shape = track->shape;
    tone->seed = scramble(seed);
    tone->at = track->shape.hop_samples;
    tone->stft = tt_stft_create(track->shape, err);
    tone->spectrum = malloc(2 * bins * sizeof *tone->spectrum);
    tone->power = malloc(bins * sizeof *tone->power);
    tone->overlap = calloc(window, sizeof *tone->overlap);
    tone->colour = malloc(bins * sizeof *tone->colour);
    if (!tone->stft || !tone->spectrum || !tone->power || !tone->overlap || !tone->colour) {
        tt_fail_memory(err);
        tt_room_tone_destroy(tone);
        return NULL;
    }
    /* Independent frames add in power: at each sample the squared synthesis windows (Hann, scaled by 1/(2 N)) of four
     * frames sum to 2 / (4 N^2). A frame of bins with E|X|^2 = a^2 has mean square a^2 * N before them, so that a^2 = p
     * * 2 N gives p on average; half of it in each part of a bin. */
    tone->scale = (float)(gain * sqrt((double)window));
    for (size_t i = 0; i < bins; i++)
        tone->colour[i] = 1.0F;
    return tone;
}

void tt_room_tone_destroy(struct tt_room_tone *tone)
{
    if (!tone)
        return;
    tt_stft_destroy(tone->stft);
    free(tone->spectrum);
    free(tone->power);
    free(tone->overlap);
    free(tone->colour);
    free(tone);
}

void tt_room_tone_set_colour(struct tt_room_tone *tone, const float *bin_gain)
{
    memcpy(tone->colour, bin_gain, (size_t)tone->shape.bin_count * sizeof *tone->colour);
}

static void add_frame(struct tt_room_tone *tone)
{
    const int bins = tone->shape.bin_count;
    const uint64_t base = scramble(tone->seed ^ (tone->frame * 0x100000001b3U));
    for (int i = 0; i < bins; i++) {
        const float amplitude = tone->scale * tone->colour[i] * tt_fast_sqrt(tone->power[i]);
        tone->spectrum[i] = amplitude * gaussian(scramble(base + 2 * (uint64_t)i));
        tone->spectrum[bins + i] = amplitude * gaussian(scramble(base + 2 * (uint64_t)i + 1));
    }
    /* DC and half the rate are real, and carry all their power in that part. */
    tone->spectrum[0] *= 1.41421356F;
    tone->spectrum[bins - 1] *= 1.41421356F;
    tone->spectrum[bins] = tone->spectrum[2 * bins - 1] = 0.0F;
    tt_stft_inverse(tone->stft, tone->spectrum, tone->spectrum + bins, tone->overlap);
    tone->frame++;
}

static void next_hop(struct tt_room_tone *tone, int64_t sample)
{
    const size_t hop = (size_t)tone->shape.hop_samples, window = (size_t)tone->shape.window_samples;
    tt_floor_at(tone->track, sample, tone->power);
    /* At the very start three frames more fill the overlap, so that the tone does not fade in. */
    const int frames = tone->frame == 0 ? 4 : 1;
    for (int i = 0; i < frames; i++) {
        memmove(tone->overlap, tone->overlap + hop, (window - hop) * sizeof *tone->overlap);
        memset(tone->overlap + window - hop, 0, hop * sizeof *tone->overlap);
        add_frame(tone);
    }
    tone->at = 0;
}

void tt_room_tone_make(struct tt_room_tone *tone, int64_t sample, float *samples, size_t count)
{
    const int hop = tone->shape.hop_samples;
    for (size_t done = 0; done < count;) {
        if (tone->at == hop)
            next_hop(tone, sample);
        size_t part = (size_t)(hop - tone->at);
        if (part > count - done)
            part = count - done;
        memcpy(samples + done, tone->overlap + tone->at, part * sizeof *samples);
        tone->at += (int)part;
        done += part;
    }
}
