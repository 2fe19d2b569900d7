/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A recorder's second, lower track of one microphone stands in where the first one clips. */
#ifndef TT_AUDIO_SAFETY_H
#define TT_AUDIO_SAFETY_H

#include <stdint.h>

#include "base/fail.h"

struct tt_safety_plan {
    int rate_hz, channel_count, channel, safety_channel;
    double gain;         /* that makes the safety track as loud as the other */
    int64_t most_frames; /* that are added, or taken, at once */
};

struct tt_safety;
struct tt_safety *tt_safety_open(const struct tt_safety_plan *plan, struct tt_error *err);
void tt_safety_close(struct tt_safety *safety); /* NULL is fine */

/* The next frame is this one of the take. */
void tt_safety_skip(struct tt_safety *safety, int64_t frame);
/* How many frames have to be added before so many can be taken, 0: none; fewer are there only at the end. */
int64_t tt_safety_wants(const struct tt_safety *safety, int64_t wanted);
/* Interleaved frames; returns how many samples were no numbers. */
int64_t tt_safety_add(struct tt_safety *safety, const float *interleaved, int64_t count);
/* Returns the samples taken, fewer only at the end. */
int64_t tt_safety_take(struct tt_safety *safety, float *samples, int64_t wanted);
/* Places that were mended so far, and the frame of the first, -1: none. */
int64_t tt_safety_mended(const struct tt_safety *safety, int64_t *first_frame);

#endif
