/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the pictures in the pages are drawn by. */
#ifndef TT_REPORT_SVG_H
#define TT_REPORT_SVG_H

#include "base/text.h"

/* One command of a path and its point. */
void tt_svg_xy(struct tt_text *out, const char *command, double x, double y);
/* A round step for a time axis whose scale is units a second, and how a time on it is written. */
double tt_tick_step_s(double scale);
void tt_tick_clock(struct tt_text *out, double at_s, double step_s);

#endif
