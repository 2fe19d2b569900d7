/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the pages share: style, scripts, and parts that stand on both. */
#ifndef TT_REPORT_PAGE_H
#define TT_REPORT_PAGE_H

#include "report/removed.h"
#include "report/report.h"
#include "report/totals.h"

/* Lists of lines, ended by NULL. */
extern const char *const tt_page_style[];    /* page/style.css */
extern const char *const tt_script_common[]; /* page/common.js, and so on */
extern const char *const tt_script_session[];
extern const char *const tt_script_walk[];
extern const char *const tt_script_take[];
extern const char *const tt_script_blind[];
extern const char *const tt_script_view[];

/* ".wav" or ".flac": how voices and narration are called. */
const char *tt_page_sound_ending(const struct tt_session_report *session);

/* The command line that works on this session again, as HTML of one line; with `--changes FILE`, of which the script
 * fills in the name. */
void tt_page_command(struct tt_text *out, const struct tt_session_report *session, bool has_changes);

/* The take's name, as a link from the session's page to the take's. */
void tt_take_link(struct tt_text *out, const struct tt_take_report *take);

/* "3 misreads (14.2 s), 12 pauses (20.1 s)"; "nothing" */
void tt_page_removed(struct tt_text *out, const struct tt_removed *removed);

/* The usual words on listening level, once a page, with the control that it speaks of. */
void tt_page_level_control(struct tt_text *out);
void tt_page_caution(struct tt_text *out);
void tt_page_footer(struct tt_text *out, const struct tt_session_report *session);
/* What of a long list is not on paper, which gets the first of it (page/style.css counts them alike): a summary is two
 * pages. */
void tt_page_not_printed(struct tt_text *out, size_t count, size_t printed, const char *what);
/* Where the changes that were made on any page of this run gather, with the file to save; shown by the script once
 * there are some. */
void tt_page_changes(struct tt_text *out, const struct tt_session_report *session);
/* A row as the script knows it, an object of JSON. */
void tt_page_row_data(struct tt_text *out, const struct tt_take_report *take, const struct tt_row *row);
/* Rows of any takes that a page lets one answer, as a list of such objects. Returns the number of the new one. Freed
 * with its text. */
struct tt_page_rows {
    struct tt_text text;
    size_t count;
};
size_t tt_page_rows_add(struct tt_page_rows *rows, const struct tt_take_report *take, const struct tt_row *row);

/* How loud both sides of a take are when a browser plays them (LUFS of what comes from two loudspeakers), over the same
 * moments of the reading; NAN when not known. A single channel comes from both and so reads 3.01 LU more. */
struct tt_page_loudness {
    double before_lufs, after_lufs;
};
bool tt_page_loudness_of(const struct tt_take_report *take, struct tt_page_loudness *loudness, struct tt_error *err);

/* Parts of the pages that set two sounds side by side. page_folder: absolute, that the page lies in. */
void tt_take_listening(struct tt_text *out, const char *page_folder, const struct tt_take_report *take,
                       const struct tt_page_loudness *loudness);
void tt_take_picture(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take);
void tt_take_view(struct tt_text *out, const struct tt_take_report *take);
void tt_take_figures_table(struct tt_text *out, const struct tt_take_report *take);
void tt_take_charts(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take);
void tt_take_decisions(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take);
bool tt_take_data(struct tt_text *out, const struct tt_take_report *take, const struct tt_page_loudness *loudness);
/* Of the session page: what to do first, in it the questions that are open; what was removed, longest first; what a
 * person decided. */
void tt_session_todo(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                     const struct tt_totals *totals);
void tt_session_questions(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session);
bool tt_session_removed_list(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                             struct tt_error *err);
void tt_session_own_list(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session);

#endif
