/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The summary's second half: times, rows of takes, levels. */
#ifndef TT_REPORT_SUMMARY_FIGURES_H
#define TT_REPORT_SUMMARY_FIGURES_H

#include "report/report.h"

void tt_summary_add_running_time(const struct tt_session_report *session, struct tt_text *out);
void tt_summary_add_takes(const struct tt_session_report *session, struct tt_text *out);
void tt_summary_add_figures(const struct tt_session_report *session, struct tt_text *out);

#endif
