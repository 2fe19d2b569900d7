/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Recordings that took the place of others under their names. */
#ifndef TT_SESSION_RECORDED_OVER_H
#define TT_SESSION_RECORDED_OVER_H

#include "session/run.h"

/* Puts sheets of recordings that were replaced aside (sheet_aside.h) where that costs no decision of a person's. Behind
 * tt_session_follow_renames, which takes such decisions along. */
bool tt_session_clear_old_sheets(struct tt_run_state *run, struct tt_error *err);

#endif
