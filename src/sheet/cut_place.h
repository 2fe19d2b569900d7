/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where the join of a cut misread is heard least. */
#ifndef TT_SHEET_CUT_PLACE_H
#define TT_SHEET_CUT_PLACE_H

#include "sheet/heard.h"
#include "sheet/pause_trim.h"
#include "sheet/take_times.h"

struct cut_room {
    struct take_times times;
    struct part between;              /* what else goes, before and behind */
    const struct pause_sound *sounds; /* rising by start; all that may be near */
    size_t sound_count;
};

/* Moves a cut with words in it, and what goes of the pauses beside it, as it is, to where its join is heard least
 * (join_place.h): what it takes more of the pause in front of it, it leaves of the one behind it, or the other way
 * round. Within these pauses, off the guards of the words on either side and in the cut, and past no sound. */
void cut_place(const struct cut_room *room, const struct tt_heard *heard, struct part *gone);

#endif
