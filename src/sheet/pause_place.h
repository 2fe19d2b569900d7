/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where in its pause a shortening is heard least. */
#ifndef TT_SHEET_PAUSE_PLACE_H
#define TT_SHEET_PAUSE_PLACE_H

#include "sheet/heard.h"
#include "sheet/pause_trim.h"

/* Moves what pause_trim lets go to where its join is heard least (join_place.h). A little way, into neither margins nor
 * guards of the words (word_guards.h), and past no sound; off the start of a breath that stays. A part at the take's
 * head or tail, and one beside cuts, stay.
 */
void pause_place(const struct pause *pause, const struct tt_heard *heard, struct part *gone);

#endif
