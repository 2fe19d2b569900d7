/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where in its pause a shortening is heard least. */
#ifndef TT_SHEET_PAUSE_PLACE_H
#define TT_SHEET_PAUSE_PLACE_H

#include "sheet/heard.h"
#include "sheet/pause_trim.h"

/* Moves what pause_trim lets go, as it is, to where the room sounds most alike on both sides of the join: a restless
 * room rustles, and not all of that is told as a sound. A little way, into neither margins nor guards of the words
 * (word_guards.h), and past no sound. A part at the take's head or tail, one beside cuts, and one whose room was not
 * heard stay. */
void pause_place(const struct pause *pause, const struct tt_heard *heard, struct part *gone);

#endif
