/* SPDX-License-Identifier: GPL-2.0-or-later */
/* By what words a reading is stopped each time: 'stop', 'sorry, again'. */
#ifndef TT_STAGES_SAYINGS_H
#define TT_STAGES_SAYINGS_H

#include "stages/rereads.h"

/* Sets is_saying of each short phrase that is said three times and more, mostly between a reading that was broken off
 * and its re-read, and stands between two readings here. *has_sayings: whether there are any. */
bool tt_sayings_mark(struct tt_phrases *phrases, const struct tt_rereads *rereads, bool *has_sayings,
                     struct tt_error *err);

/* tt_rereads_find with sayings marked. Where one was said into a phrase, that phrase is split. */
bool tt_sayings_find(struct tt_phrases *phrases, double look_back_s, struct tt_rereads *rereads, struct tt_error *err);

#endif
