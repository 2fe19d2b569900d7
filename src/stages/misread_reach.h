/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_STAGES_MISREAD_REACH_H
#define TT_STAGES_MISREAD_REACH_H

#include "stages/misread_rows.h"

/* Adds to each misread what belongs to it though the re-read has other words there: what leads into it, and what it
 * goes on with. wanted: for each phrase, whether it replaces another. */
void tt_misread_reach_extend(const struct tt_phrases *phrases, const bool *wanted, struct tt_phrase_choice *choices);

#endif
