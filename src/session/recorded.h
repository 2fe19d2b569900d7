/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_SESSION_RECORDED_H
#define TT_SESSION_RECORDED_H

#include "session/run.h"

/* Points out where the running order contradicts the times inside the files. */
void tt_session_check_times(struct tt_run_state *run);
/* Says which recordings are others than those of the last run. */
void tt_session_tell_changed(struct tt_run_state *run);

/* Both files say when they were recorded, and it was not the same date. */
bool tt_recorded_on_other_days(const struct tt_take *a, const struct tt_take *b);

#endif
