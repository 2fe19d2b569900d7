/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the text itself says more than once. */
#ifndef TT_STAGES_REREAD_REFRAINS_H
#define TT_STAGES_REREAD_REFRAINS_H

#include "stages/rereads.h"

/* How sure such a likeness is at most: it is not even asked about. */
#define TT_REFRAIN_MOST 0.3

/* Whether it is a line that comes again and again, with others in between. */
bool tt_reread_is_refrain(const struct tt_reread *reread);

/* Lowers the confidence of a word or two that come again within a passage which comes again as a whole: 'Hum, little
 * bee, hum in the sun.' Nobody makes the same slip twice. Behind the judging. */
bool tt_reread_refrains_drop_words(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err);

#endif
