/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How a take came out, and a session's sums. */
#ifndef TT_REPORT_TOTALS_H
#define TT_REPORT_TOTALS_H

#include "report/report.h"

/* "done", "planned", "empty" (nothing of it is left), "left out" (the narration does without it) or "failed". */
const char *tt_take_status(const struct tt_take_report *take);
bool tt_take_is_empty(const struct tt_take_report *take);
/* Rows of the cut sheet; 0 of a take that failed. */
size_t tt_take_row_count(const struct tt_take_report *take);

/* Seconds of the recording, of its voice (with --plan: as decided), and of the recording that is not in the voice; NAN
 * for a take that failed. */
double tt_take_before_s(const struct tt_take_report *take);
double tt_take_after_s(const struct tt_take_report *take);
double tt_take_removed_s(const struct tt_take_report *take);

struct tt_totals {
    size_t failed, empty, questions;
    double before_s, after_s, removed_s; /* of takes that did not fail */
};
struct tt_totals tt_session_totals(const struct tt_session_report *session);

/* All that is to be said about a take, each once: the recording's remarks first, then the warnings that are none of
 * them. False stops. */
typedef bool tt_warning_visit(void *context, const char *code, const char *message, double at_s);
bool tt_take_visit_warnings(const struct tt_take_report *take, tt_warning_visit *visit, void *context);
size_t tt_take_warning_count(const struct tt_take_report *take);

#endif
