/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where what goes is to go, so that the join it leaves is heard least. */
#ifndef TT_SHEET_JOIN_PLACE_H
#define TT_SHEET_JOIN_PLACE_H

#include "sheet/heard.h"
#include "sheet/pause_trim.h"

/* How far what goes can move towards the take's start and its end; not at all where negative. */
struct leeway {
    int64_t back, ahead;
};

/* The most that is of use. */
struct leeway join_leeway_most(int rate_hz);
/* Neither end of what goes may pass a sound, nor lie within one. */
void join_hold_beside(struct leeway *leeway, const struct part *sound, const struct part *gone);
/* Moves what goes, as it is, to where the room sounds most alike on both sides of the join: a restless room rustles,
 * and not all of that is told as a sound. Nothing moves where the room was not heard. Returns what it
 * comes to in dB: how unlike they are there, and a little for the way. */
float join_place(const struct tt_heard *heard, const struct leeway *leeway, struct part *gone);

#endif
