/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The room's level in each band and the speech's level, followed over a take by low and high quantiles of sliding
 * windows. Two windows, what was before and what comes after: the floor is the higher of the two where that one is
 * steady, so that a room that steps up is believed at once, while speech without pauses does not pass for the room. */
#ifndef TT_DSP_BAND_FLOOR_H
#define TT_DSP_BAND_FLOOR_H

#include <stdbool.h>

#include "base/fail.h"
#include "dsp/band_levels.h"

struct tt_room_level {
    float band_db[TT_BANDS]; /* mean power per bin, as struct tt_band_powers */
    float all_db;            /* over the bands together */
    float speech_db;         /* level of speech without its pauses, over the bands together */
};

struct tt_band_floor;
/* Blocks come at blocks_per_s; window_s is the reach of each window. */
struct tt_band_floor *tt_band_floor_create(const struct tt_band_plan *plan, double blocks_per_s, double window_s,
                                           struct tt_error *err);
void tt_band_floor_destroy(struct tt_band_floor *tracker);
/* Mean powers of the next block; is_heard false: digital silence, which is no room. */
void tt_band_floor_add(struct tt_band_floor *tracker, const struct tt_band_powers *powers, bool is_heard);
void tt_band_floor_end(struct tt_band_floor *tracker);
/* The level at the next block in order, once what comes after it was heard: true when there is one. */
bool tt_band_floor_next(struct tt_band_floor *tracker, struct tt_room_level *level);
int tt_band_floor_delay_blocks(const struct tt_band_floor *tracker);

#endif
