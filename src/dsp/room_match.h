/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is really left of a room in the pauses of a finished voice, against the floor that was heard: the floor lies
 * under a restless room's rustle, and the gate leaves that. Made room tone is tuned by it, so that it does not fall out
 * of what surrounds it. Streaming. */
#ifndef TT_DSP_ROOM_MATCH_H
#define TT_DSP_ROOM_MATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/span.h"
#include "dsp/floor_track.h"

struct tt_room_match;
/* spans: where nothing but the room is heard; they rise and do not overlap. track and spans are borrowed. gain: linear,
 * on the track (what the gate is to leave of pure noise). */
struct tt_room_match *tt_room_match_create(const struct tt_floor_track *track, double gain,
                                           const struct tt_span_samples *spans, size_t span_count,
                                           struct tt_error *err);
/* The first sample that comes is not the take's first. */
void tt_room_match_start_at(struct tt_room_match *match, int64_t sample);
/* The finished voice at full length, in order. */
void tt_room_match_add(struct tt_room_match *match, const float *samples, size_t count);
/* By how much tone with the track's colour is to be raised there, linear, by bin: from the last two seconds or so of
 * pauses up to `sample`, however far back they lie. False when there was too little of them: bin_gain is all 1 then.
 * What was added beyond `sample` makes no difference, as long as it is no more than some ten seconds. */
bool tt_room_match_before(const struct tt_room_match *match, int64_t sample, float *bin_gain);
/* The same from the first two seconds of pauses behind `sample`, as far as they end by `until`, some ten seconds on at
 * most. What was added beyond that makes no difference. */
bool tt_room_match_behind(const struct tt_room_match *match, int64_t sample, int64_t until, float *bin_gain);
size_t tt_room_match_bins(const struct tt_room_match *match);
int tt_room_match_rate_hz(const struct tt_room_match *match);
void tt_room_match_destroy(struct tt_room_match *match);

#endif
