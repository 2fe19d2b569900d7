/* SPDX-License-Identifier: GPL-2.0-or-later */
/* With --for: what was delivered, against the limits of its target. What fails becomes a warning that names what helps.
 */
#ifndef TT_SESSION_JUDGING_H
#define TT_SESSION_JUDGING_H

#include "session/run.h"

void tt_session_judge_track(struct tt_run_state *run, const char *name, const struct tt_after *after, int rate_hz,
                            int64_t frames);
/* Each voice, where each has a gain of its own. */
void tt_session_judge_voices(struct tt_run_state *run);

#endif
