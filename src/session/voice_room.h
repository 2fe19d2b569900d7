/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the room is like at the two ends of a finished voice: room tone that is made beside it has that level and
 * colour. */
#ifndef TT_SESSION_VOICE_ROOM_H
#define TT_SESSION_VOICE_ROOM_H

#include "session/voices.h"

/* One node each, at the voice's rate and level. */
struct tt_voice_room {
    struct tt_floor_track head, tail;
};

/* Reads a second or three of pauses at each end of the voice; with too little of them, the floor that was heard of the
 * take stands for the room. */
bool tt_voice_room_hear(const struct tt_voice_part *part, struct tt_voice_room *room, struct tt_error *err);
void tt_voice_room_free(struct tt_voice_room *room); /* zeroes it */

#endif
