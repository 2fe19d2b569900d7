/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Room tone of any length, without loops: Gaussian noise shaped by a noise power spectrum. Repeats bit for bit from its
 * seed. */
#ifndef TT_DSP_ROOM_TONE_H
#define TT_DSP_ROOM_TONE_H

#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "dsp/floor_track.h"

struct tt_room_tone;
/* gain: linear amplitude on top of the track's level (what the gate leaves of pure noise). track is borrowed. */
struct tt_room_tone *tt_room_tone_create(const struct tt_floor_track *track, double gain, uint64_t seed,
                                         struct tt_error *err);
/* count samples with the colour of the track at `sample`, continuing without a seam. */
void tt_room_tone_make(struct tt_room_tone *tone, int64_t sample, float *samples, size_t count);
/* bin_count linear factors on top of the gain from here on; copied. */
void tt_room_tone_set_colour(struct tt_room_tone *tone, const float *bin_gain);
void tt_room_tone_destroy(struct tt_room_tone *tone);

#endif
