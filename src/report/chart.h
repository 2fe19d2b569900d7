/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Charts of the take page, as SVG: before and after in the same axes. Both need take->voice_heard. */
#ifndef TT_REPORT_CHART_H
#define TT_REPORT_CHART_H

#include "report/report.h"

/* Loudness of three seconds over time, with the target. */
void tt_chart_loudness(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take);
/* The floor in third octaves. */
void tt_chart_floor(struct tt_text *out, const struct tt_take_report *take);
/* The floor of a recording by third octave, as mean squares over all of it. False when nothing is known. */
bool tt_chart_thirds(const struct tt_heard *heard, double *thirds);

#endif
