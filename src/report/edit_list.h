/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The narration as a list of what stands where: the common ground of both edit lists. */
#ifndef TT_REPORT_EDIT_LIST_H
#define TT_REPORT_EDIT_LIST_H

#include "report/report.h"

/* One after the other without a hole, from frame 0 to the narration's end, at narration_rate_hz. What is no clip is
 * made room tone. */
struct tt_edit_span {
    bool is_clip;
    size_t take;                      /* index into session->takes, of a clip */
    int64_t source_start, source_end; /* in the take, at its own rate */
    int64_t start_frame, end_frame;   /* in the narration; end exclusive, never empty */
};

enum tt_edit_mark_kind { TT_MARK_TAKE, TT_MARK_QUESTION, TT_MARK_LABEL, TT_MARK_GAP };
struct tt_edit_mark {
    enum tt_edit_mark_kind kind;
    size_t take;
    const struct tt_row *row;       /* NULL: the take's beginning */
    int64_t start_frame, end_frame; /* in the narration */
};

struct tt_edit_list {
    struct tt_edit_span *spans;
    size_t span_count, span_capacity;
    struct tt_edit_mark *marks; /* in time order */
    size_t mark_count, mark_capacity;
};

bool tt_edit_list_build(const struct tt_session_report *session, struct tt_edit_list *list, struct tt_error *err);
void tt_edit_list_free(struct tt_edit_list *list); /* zeroes it */

/* The file of a split recording that holds a frame; NULL: the take is one file. */
const struct tt_report_file *tt_edit_file_at(const struct tt_take_report *take, int64_t source_frame);

/* What a mark says: the take's name, or the row's kind and note. */
void tt_edit_mark_text(const struct tt_session_report *session, const struct tt_edit_mark *mark, struct tt_text *out);

/* Whether the files that an edit list points to carry the recording's time of day: takes do, and what is written into
 * whole/ as WAV. */
bool tt_has_time(const struct tt_session_report *session);

/* The file that an edit list takes a take's sound from, below OUT: "whole/STEM.wav"; only with whole = yes. */
void tt_whole_name(const struct tt_session_report *session, const struct tt_take_report *take, struct tt_text *out);

#endif
