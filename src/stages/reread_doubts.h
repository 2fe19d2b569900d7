/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Likeness that only a person can make sense of, however strong it is: of two readings by themselves, before it is
 * known which of them go. What goes is looked at once more in misread_doubts.c. */
#ifndef TT_STAGES_REREAD_DOUBTS_H
#define TT_STAGES_REREAD_DOUBTS_H

#include "stages/rereads.h"

/* Whether a pair is to be asked about at most. All of its evidence must have been seen; covered: one flag a phrase,
 * whether it is read again. */
bool tt_reread_is_doubtful(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *covered);

/* Whether the re-read goes on where the first reading stopped short, as no line of a list does. */
bool tt_reread_was_broken_off(const struct tt_reread *reread);

/* Whether it is worth a question by its likeness alone. */
bool tt_reread_is_striking(const struct tt_reread *reread);
/* Whether, where it is worth a question anyway and nothing is doubtful, there is nothing to ask. */
bool tt_reread_is_the_same(const struct tt_reread *reread);

#endif
