/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where the sound of a narration comes from, as the session keeps it between runs, and what moved between two of them.
 */
#ifndef TT_REPORT_LAYOUT_H
#define TT_REPORT_LAYOUT_H

#include "report/report.h"

/* A kept stretch of a take in the narration. */
struct tt_layout_span {
    size_t take;                      /* index into takes */
    int64_t source_start, source_end; /* at the take's rate */
    int64_t start_frame;              /* in the narration */
};
struct tt_layout_take {
    char *name;
    char content[17]; /* the first digits of the recording's SHA-256 */
    int rate_hz;
};
struct tt_layout {
    int rate_hz;
    int64_t frames;
    char start[16]; /* timecode of the first frame, as set */
    struct tt_layout_take *takes;
    size_t take_count;
    struct tt_layout_span *spans; /* in the narration's order */
    size_t span_count;
};

struct json_t;
/* *object is NULL where there is no narration; it is the caller's. */
bool tt_layout_make(const struct tt_session_report *session, struct json_t **object, struct tt_error *err);
/* False when it is none, or damaged; nothing to free then. */
bool tt_layout_read(const struct json_t *object, struct tt_layout *layout);
void tt_layout_free(struct tt_layout *layout);

/* OUT/edit/changes.csv: a row for each place of the new narration from which on things lie elsewhere than in the one
 * before. since: the file that holds the one before. The session's sheets say why. */
bool tt_report_changes(const struct tt_session_report *session, const struct tt_layout *before,
                       const struct tt_layout *now, const char *since, struct tt_text *out, struct tt_error *err);

#endif
