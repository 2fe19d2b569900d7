/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_STAGES_REREAD_CARRIED_H
#define TT_STAGES_REREAD_CARRIED_H

#include "stages/rereads.h"

/* Takes the confidence from pairs whose first phrase is the end of the line before: of a line and two tries, 'x | a b |
 * a b', the words 'x a' may seem to be said again by 'b a', since a is. They are judged. */
bool tt_reread_carried_drop(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err);

#endif
