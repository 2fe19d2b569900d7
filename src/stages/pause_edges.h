/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How far words go on into a pause, under what is heard as loud. */
#ifndef TT_STAGES_PAUSE_EDGES_H
#define TT_STAGES_PAUSE_EDGES_H

#include "sheet/heard.h"

/* Milliseconds that the words on both sides of a pause take of it, where its room is steady enough to tell: its loud
 * edges are given. For its length only; no cut may rely on it. */
double tt_pause_edges_ms(const struct tt_heard *heard, double start_ms, double end_ms);

#endif
