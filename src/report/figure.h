/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The picture of a take: its level before, its level after, where each part went, and the decisions where they fall. */
#ifndef TT_REPORT_FIGURE_H
#define TT_REPORT_FIGURE_H

#include "report/report.h"

/* An inline SVG in CSS classes; its data-left and data-scale (units a second) let the script find a time in it. Before
 * and after share one scale of time. */
void tt_figure(struct tt_text *out, const struct tt_take_report *take);

#endif
