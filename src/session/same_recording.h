/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes that are one recording: a safety copy some dB lower, a second format, one file a microphone. */
#ifndef TT_SESSION_SAME_RECORDING_H
#define TT_SESSION_SAME_RECORDING_H

#include "session/run.h"

/* What a take is compared by, worked out once however many others there are. */
struct tt_compared {
    const struct tt_heard *heard; /* borrowed */
    double duration_s;
    double *steps_db;  /* NULL: nothing was said, or it cannot be told; then only the same file is the same */
    int64_t stride;    /* of the rows that shapes are compared by */
    double shape_rows; /* so many of them */
};
bool tt_compared_open(const struct tt_heard *heard, struct tt_compared *one, struct tt_error *err);
void tt_compared_free(struct tt_compared *one); /* zeroes it */

/* Whether two takes run in step from beginning to end, by what was heard of them. */
bool tt_compared_in_step(const struct tt_compared *a, const struct tt_compared *b);

/* Of takes that are one recording only the best stays in use: unclipped before clipped, exact formats before lossy
 * ones, clearer of its room, then the first in order. The others say which one stands for them. */
bool tt_session_drop_copies(struct tt_run_state *run, struct tt_error *err);

#endif
