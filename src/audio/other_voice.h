/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Whether another person speaks into another channel: the listener, the director, a guest with a microphone of their
 * own. Of one voice two microphones keep the same difference of level; it turns round when somebody near the second one
 * speaks. Only levels are looked at. */
#ifndef TT_AUDIO_OTHER_VOICE_H
#define TT_AUDIO_OTHER_VOICE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/span.h"

enum { TT_OTHER_STEP_MS = 100 };

/* Mean power of a channel in steps of about TT_OTHER_STEP_MS, without its mean; fed in blocks of any length. Zeroed to
 * begin with. */
struct tt_step_levels {
    float *powers;
    size_t count, room;
    int64_t step_frames;
    double sum, square_sum;
    int64_t in_step;
};
bool tt_step_levels_add(struct tt_step_levels *levels, int64_t step_frames, const float *samples, size_t count,
                        struct tt_error *err);
/* The same of a block that was summed up already and ends no later than its step. */
bool tt_step_levels_add_sums(struct tt_step_levels *levels, int64_t step_frames, double sum, double square_sum,
                             size_t count, struct tt_error *err);
void tt_step_levels_free(struct tt_step_levels *levels);

/* The spans, in time order, in which `other` carries another voice than `own`. Freshly allocated, NULL only without
 * memory. Pure. */
struct tt_span_frames *tt_other_voice_find(const struct tt_step_levels *own, const struct tt_step_levels *other,
                                           size_t *count, struct tt_error *err);

#endif
