/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What an opened gap is filled with: made room tone that passes from the room before it to the room behind it. */
#ifndef TT_PIPELINE_GAP_TONE_H
#define TT_PIPELINE_GAP_TONE_H

#include "dsp/room_match.h"
#include "dsp/room_tone.h"

struct tt_gap_tone;
/* Both are borrowed. match tells the room of either side; NULL: the tone stays as it is. */
struct tt_gap_tone *tt_gap_tone_create(struct tt_room_tone *tone, struct tt_room_match *match, struct tt_error *err);
void tt_gap_tone_destroy(struct tt_gap_tone *gap);
/* So much of the take must be known behind where a gap ends, or all of it, before that gap is opened: 0 without match.
 */
int64_t tt_gap_tone_reach(const struct tt_gap_tone *gap);

/* The gap of `length` samples between two places of the take begins; one of them is negative at its start and end. */
void tt_gap_tone_open(struct tt_gap_tone *gap, int64_t before, int64_t behind, int64_t length);
/* The next samples of it. */
void tt_gap_tone_make(struct tt_gap_tone *gap, float *samples, size_t count);

#endif
