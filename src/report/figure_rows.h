/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within the picture of a take: where each part of it went, and the decisions where they fall. */
#ifndef TT_REPORT_FIGURE_ROWS_H
#define TT_REPORT_FIGURE_ROWS_H

#include "report/report.h"

/* All in the picture's own units, which are pixels at its natural size. */
enum {
    TT_FIGURE_LEFT = 84,
    TT_FIGURE_PLOT = 1160,
    TT_FIGURE_RIGHT = 16,
    TT_FIGURE_TOP = 8,
    TT_FIGURE_LANE = 18,
    TT_FIGURE_BAND = 112,
    TT_FIGURE_RIBBON = 64,
    TT_FIGURE_AXIS = 22
};

struct tt_figure_frame {
    const struct tt_take_report *take;
    double scale;           /* units a second */
    int lane[TT_ROW_KINDS]; /* -1: no row of this kind */
    int lane_count;
    double before_y, ribbon_y, after_y, axis_y, height;
};

static inline double tt_figure_x(const struct tt_figure_frame *frame, double seconds)
{
    return TT_FIGURE_LEFT + seconds * frame->scale;
}

/* From the voice's stretches to their places in the take. */
void tt_figure_ribbons(struct tt_text *out, const struct tt_figure_frame *frame);
/* Of one kind of rows: what is gone and what was left there, behind the curves; and their marks, before them. */
void tt_figure_spans(struct tt_text *out, const struct tt_figure_frame *frame, enum tt_row_kind kind);
void tt_figure_marks(struct tt_text *out, const struct tt_figure_frame *frame, enum tt_row_kind kind);

#endif
