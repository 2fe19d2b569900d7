/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Why a place of a narration lies elsewhere than before: what lies between two stretches that both narrations hold. */
#ifndef TT_REPORT_CHANGES_WHY_H
#define TT_REPORT_CHANGES_WHY_H

#include "report/layout.h"

/* Rounding from one sample rate to another may move a join by a sample or two. */
enum { TT_SAME_FRAMES = 3 };

struct tt_two_layouts {
    const struct tt_session_report *session;
    const struct tt_layout *before, *now;
};

/* A stretch that both narrations hold. */
struct tt_common {
    size_t take; /* in `now` */
    int64_t source_start, source_end;
    int64_t before_frame, now_frame; /* of its start, both at the new narration's rate */
};

/* Index of the same recording in another layout; its count when it has no span there. */
size_t tt_layout_same_take(const struct tt_layout *layout, const struct tt_layout_take *take);

/* Adds a few words on what made things lie `step` frames later from `next` on. last, next: NULL at the beginning and
 * the end. */
void tt_changes_why(const struct tt_two_layouts *of, const struct tt_common *last, const struct tt_common *next,
                    int64_t step, struct tt_text *why);

#endif
