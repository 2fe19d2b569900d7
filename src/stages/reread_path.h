/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the path of a match tells of two readings: evidence that needs nothing but the pair. */
#ifndef TT_STAGES_REREAD_PATH_H
#define TT_STAGES_REREAD_PATH_H

#include "stages/rereads.h"

/* Whether the first phrases of both sides take part in the path. */
bool tt_reread_path_begins(const struct tt_phrases *phrases, const struct tt_reread *reread,
                           const struct tt_align_cell *path, size_t cells);

/* Fills `again_last` and the evidence of a pair whose first, last, again, rows and score are known. */
void tt_reread_path_see(const struct tt_phrases *phrases, struct tt_reread *reread, const struct tt_align_cell *path,
                        size_t cells);

#endif
