/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is asked about however alike the two readings are, once it is known what goes and what stays around it. Of two
 * readings by themselves: reread_doubts.c. */
#ifndef TT_STAGES_MISREAD_DOUBTS_H
#define TT_STAGES_MISREAD_DOUBTS_H

#include "stages/misread_rows.h"

/* Of the misreads that were chosen, those which are asked about however alike the two readings are: lists, and ends of
 * lines that were read to their end. */
bool tt_misread_doubts_ask(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, struct tt_error *err);

#endif
