/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/samples.h"

#include <string.h>

#include "base/wide.h"

/* IEEE 754 single: an exponent of ones is NaN or infinity. */
#define EXPONENT_MASK 0x7F800000u

TT_WIDE int64_t tt_samples_mend(float *samples, size_t count)
{
    int64_t mended = 0;
    for (size_t from = 0; from < count; from += 1024) {
        size_t n = count - from < 1024 ? count - from : 1024;
        uint32_t bad = 0;
        for (size_t i = 0; i < n; i++) {
            uint32_t bits;
            memcpy(&bits, &samples[from + i], sizeof bits);
            uint32_t is_bad = (bits & EXPONENT_MASK) == EXPONENT_MASK;
            bad += is_bad;
            bits &= is_bad - 1u;
            memcpy(&samples[from + i], &bits, sizeof bits);
        }
        mended += bad;
    }
    return mended;
}

static void pick_mean(const float *interleaved, size_t channel_count, float *samples, size_t frame_count)
{
    const float share = 1.0f / (float)channel_count;
    for (size_t i = 0; i < frame_count; i++) {
        float sum = 0.0f;
        for (size_t c = 0; c < channel_count; c++)
            sum += interleaved[i * channel_count + c];
        samples[i] = sum * share;
    }
}

void tt_samples_pick(const float *interleaved, int channel_count, int channel, float *samples, size_t frame_count)
{
    const size_t step = (size_t)channel_count;
    if (channel < 0) {
        pick_mean(interleaved, step, samples, frame_count);
        return;
    }
    const float *from = interleaved + channel;
    if (step == 2) { /* the usual case, with a step the compiler knows */
        for (size_t i = 0; i < frame_count; i++)
            samples[i] = from[2 * i];
        return;
    }
    for (size_t i = 0; i < frame_count; i++)
        samples[i] = from[step * i];
}
