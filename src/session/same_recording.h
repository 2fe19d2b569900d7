/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes that are one recording: a safety copy some dB lower, a second format, one file a microphone. */
#ifndef TT_SESSION_SAME_RECORDING_H
#define TT_SESSION_SAME_RECORDING_H

#include "session/session.h"

/* Whether two takes run in step from beginning to end, by what was heard of them. */
bool tt_heard_in_step(const struct tt_heard *a, const struct tt_heard *b);

/* Of takes that are one recording only the best stays in use: unclipped before clipped, exact formats before lossy ones, clearer of its room, then the
 * first in order. The others say which one stands for them. */
void tt_session_drop_copies(struct tt_run_state *run);

#endif
