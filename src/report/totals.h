/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How a take came out, and a session's sums. */
#ifndef TT_REPORT_TOTALS_H
#define TT_REPORT_TOTALS_H

#include "report/report.h"

/* "done", "planned", "empty" (nothing of it is left) or "failed". */
const char *tt_take_status(const struct tt_take_report *take);
bool tt_take_is_empty(const struct tt_take_report *take);

/* Seconds of the recording, of its voice (with --plan: as decided), and of the recording that is not in the voice; NAN for a take that failed. */
double tt_take_before_s(const struct tt_take_report *take);
double tt_take_after_s(const struct tt_take_report *take);
double tt_take_removed_s(const struct tt_take_report *take);

struct tt_totals { size_t failed, empty, questions; double before_s, after_s, removed_s; /* of takes that did not fail */ };
struct tt_totals tt_session_totals(const struct tt_session_report *session);

#endif
