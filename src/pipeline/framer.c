/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/framer.h"

#include <stdlib.h>
#include <string.h>

#include "base/large.h"

enum { BUFFER_HOPS = 64 };

struct tt_framer {
    struct tt_stft_shape shape;
    struct tt_stft *stft;
    tt_frame_taker taker;
    void *context;
    float *buffer;           /* window + BUFFER_HOPS hops */
    size_t capacity, filled; /* samples */
    float *power;
    int64_t next_frame;
    int64_t sample_count; /* of the stream */
};

void tt_framer_destroy(struct tt_framer *framer)
{
    if (!framer)
        return;
    tt_stft_destroy(framer->stft);
    free(framer->buffer);
    free(framer->power);
    free(framer);
}

struct tt_framer *tt_framer_create(struct tt_stft_shape shape, tt_frame_taker taker, void *context,
                                   struct tt_error *err)
{
    struct tt_framer *framer = calloc(1, sizeof *framer);
    if (!framer) {
        tt_fail_memory(err);
        return NULL;
    }
    framer->shape = shape;
    framer->taker = taker;
    framer->context = context;
    framer->capacity = (size_t)shape.window_samples + (size_t)BUFFER_HOPS * (size_t)shape.hop_samples;
    framer->buffer = tt_alloc_lines(framer->capacity * sizeof(float));
    framer->power = tt_alloc_lines((size_t)shape.bin_count * sizeof(float));
    if (!framer->buffer || !framer->power)
        tt_fail_memory(err);
    else
        framer->stft = tt_stft_create(shape, err);
    if (!framer->stft) {
        tt_framer_destroy(framer);
        return NULL;
    }
    framer->filled = (size_t)shape.window_samples / 2; /* silence in front of the first sample */
    return framer;
}

static bool emit_frames(struct tt_framer *framer, struct tt_error *err)
{
    const size_t hop = (size_t)framer->shape.hop_samples, window = (size_t)framer->shape.window_samples;
    size_t at = 0;
    while (at + window <= framer->filled) {
        tt_stft_powers(framer->stft, framer->buffer + at, framer->power);
        if (!framer->taker(framer->context, framer->next_frame, framer->power, framer->buffer + at + window / 2, err))
            return false;
        framer->next_frame++;
        at += hop;
    }
    memmove(framer->buffer, framer->buffer + at, (framer->filled - at) * sizeof(float));
    framer->filled -= at;
    return true;
}

bool tt_framer_add(struct tt_framer *framer, const float *samples, size_t count, struct tt_error *err)
{
    framer->sample_count += (int64_t)count;
    while (count > 0) {
        size_t part = framer->capacity - framer->filled;
        part = part < count ? part : count;
        memcpy(framer->buffer + framer->filled, samples, part * sizeof(float));
        framer->filled += part;
        samples += part;
        count -= part;
        if (framer->filled == framer->capacity && !emit_frames(framer, err))
            return false;
    }
    return true;
}

bool tt_framer_finish(struct tt_framer *framer, struct tt_error *err)
{
    const int64_t hop = framer->shape.hop_samples;
    int64_t frame_count = (framer->sample_count + hop - 1) / hop;
    while (framer->next_frame < frame_count) {
        memset(framer->buffer + framer->filled, 0, (framer->capacity - framer->filled) * sizeof(float));
        int64_t missing = frame_count - framer->next_frame;
        size_t wanted = (size_t)framer->shape.window_samples + (size_t)((missing - 1) * hop);
        framer->filled = wanted < framer->capacity ? wanted : framer->capacity;
        if (!emit_frames(framer, err))
            return false;
    }
    return true;
}
