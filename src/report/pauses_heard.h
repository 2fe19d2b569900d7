/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How long the pauses between the words are, before and after: counted in half octaves, since half a second more is
 * much to a short pause and nothing to a long one. */
#ifndef TT_REPORT_PAUSES_HEARD_H
#define TT_REPORT_PAUSES_HEARD_H

#include "report/report.h"

enum { TT_PAUSE_STEPS = 16 };

struct tt_pauses_heard {
    size_t before[TT_PAUSE_STEPS], after[TT_PAUSE_STEPS];
    double longest_before_s, longest_after_s; /* 0 without any */
};

/* Step i holds pauses from this length on, up to that of the next; i up to TT_PAUSE_STEPS. Longer ones are in the last
 * step. */
double tt_pause_step_s(int i);
/* Between the loud edges of what was heard as speech; after: of what is left of it, opened gaps counted in. */
void tt_pauses_measure(const struct tt_take_report *take, struct tt_pauses_heard *pauses);
/* Both as outlines in one pair of axes, time on a log axis: an SVG like those of report/chart.h. */
void tt_chart_pauses(struct tt_text *out, const struct tt_pauses_heard *pauses);

#endif
