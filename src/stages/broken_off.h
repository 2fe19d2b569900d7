/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Lines that stop in mid-word and that nothing replaces. */
#ifndef TT_STAGES_BROKEN_OFF_H
#define TT_STAGES_BROKEN_OFF_H

#include "stages/misread_rows.h"

/* Asks about what stays, replaces nothing (wanted: for each phrase) and was cut off all the same. parts: how many are
 * in use, counted on. */
void tt_broken_off_choose(const struct tt_phrases *phrases, const bool *wanted, struct tt_phrase_choice *choices,
                          size_t *parts);

#endif
