/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The stretches of a run in which somebody speaks: a room that rushes, rings or clicks may hold one run together over
 * the pause between two lines. */
#ifndef TT_STAGES_SPOKEN_H
#define TT_STAGES_SPOKEN_H

#include "sheet/heard.h"

/* What the steps of a take say about its room. */
struct tt_spoken {
    const struct tt_heard *heard;
    float room_db;
};

struct tt_spoken tt_spoken_begin(const struct tt_heard *heard);

/* The next stretch of the run that begins at or behind *from; *from moves behind it. False when there is none left.
 * Start with run->start_sample. */
bool tt_spoken_next(const struct tt_spoken *spoken, const struct tt_run *run, int64_t *from, struct tt_run *stretch);

#endif
