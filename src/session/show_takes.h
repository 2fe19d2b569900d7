/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Reports and pages of takes. */
#ifndef TT_SESSION_SHOW_TAKES_H
#define TT_SESSION_SHOW_TAKES_H

#include "base/text.h"
#include "report/report.h"
#include "session/run.h"

/* Publishes a text that was made well (ok), and frees it in any case. */
bool tt_show_text(const char *path, struct tt_text *text, bool ok, struct tt_error *err);

/* Of all takes of the session that were heard; side by side, since most of it is waiting for the medium. */
bool tt_show_takes(struct tt_run_state *run, const struct tt_session_report *session, struct tt_error *err);

#endif
