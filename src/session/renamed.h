/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Recordings that got another name since the last run: what persons wrote into their sheets goes with them. */
#ifndef TT_SESSION_RENAMED_H
#define TT_SESSION_RENAMED_H

#include "session/run.h"

bool tt_session_follow_renames(struct tt_run_state *run, struct tt_error *err);

#endif
