/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The cut sheet: every decision on one take, read and written as RFC 4180 CSV, edited by a person in between. */
#ifndef TT_SHEET_SHEET_H
#define TT_SHEET_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/text.h"

enum tt_row_kind {
    TT_ROW_MISREAD,
    TT_ROW_TALK,
    TT_ROW_PAUSE,
    TT_ROW_BREATH,
    TT_ROW_CLICK,
    TT_ROW_NOISE,
    TT_ROW_GAP,
    TT_ROW_LABEL,
    TT_ROW_OTHER,
    TT_ROW_KINDS
};
enum tt_row_action {
    TT_DO_CUT,
    TT_DO_ASK,
    TT_DO_KEEP,
    TT_DO_CHOOSE,
    TT_DO_SHORTEN,
    TT_DO_SOFTEN,
    TT_DO_OPEN,
    TT_DO_ACTIONS
};

/* An id names its recording by so many hex digits, and checks its row by so many. */
enum { TT_ROW_ID_CHARS = 32, TT_CONTENT_DIGITS = 6, TT_CHECK_DIGITS = 4 };

struct tt_row {
    char id[TT_ROW_ID_CHARS]; /* "" until the sheet is sealed */
    int64_t start_ms, end_ms; /* in the take */
    enum tt_row_kind kind;
    enum tt_row_action proposed; /* by the program; equals action where it proposed nothing */
    enum tt_row_action action;   /* in force */
    double amount;               /* seconds or dB; NAN when empty */
    double confidence;           /* 0..1; NAN when empty */
    bool is_persons;             /* by = me */
    bool is_unproposed;          /* nobody proposed it: a person's own */
    int rounding_ms; /* of a person's row as a spreadsheet saved it: its times are rounded or cut off to this; 0: exact
                      */
    char *note;      /* never NULL after reading or proposing; owned by the row */
};

struct tt_span {
    int64_t start_ms, end_ms;
};

struct tt_sheet {
    char *take;                           /* file name of the take */
    char content6[TT_CONTENT_DIGITS + 1]; /* first hex digits of the recording's SHA-256 */
    struct tt_row *rows;
    size_t count, capacity;
};

/* The reading that replaced a misread, from its note "read again A-B", or "read again A-B, in NAME": *other_take is
 * NAME within the note, else NULL. */
bool tt_row_reread(const struct tt_row *row, struct tt_span *span, const char **other_take);

const char *tt_row_kind_name(enum tt_row_kind kind); /* "misread" */
const char *tt_row_action_name(enum tt_row_action action);
/* Whether an action makes sense for a kind (the table of the design). */
bool tt_row_allows(enum tt_row_kind kind, enum tt_row_action action);

bool tt_sheet_start(struct tt_sheet *sheet, const char *take_name, const char *content_sha256, struct tt_error *err);
void tt_sheet_free(struct tt_sheet *sheet); /* zeroes it */

/* Reads the CSV text of a sheet saved by us, a person or a spreadsheet into a sheet that was started. Keeps only a
 * person's rows (the program decides its own anew); *persons_count tells how many. Each kept row is is_persons. A row
 * is a person's when `by` says me, when it has no id, when its action is not the proposed one, or when it does not fit
 * the four digits of its id any more (row_id.h tells what they notice, and how a spreadsheet's rounding is told from an
 * edit). The error names file, line and column (csv.h). Rows of another take or recording are refused with an error, as
 * are rows outside the take (1 ms more, or what its rounding may have added, is forgiven). Columns that must be there:
 * take, id, start, end, kind, action, amount, by. On failure the sheet is as before. */
bool tt_sheet_read(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name, int64_t duration_ms,
                   size_t *persons_count, struct tt_error *err);

enum { TT_SHEET_MOST_BYTES = 64 << 20 }; /* a longer file is no sheet */

/* The six digits of the recording that such a text is about, by the first id in it; false when there is none. */
bool tt_sheet_find_content(const char *text, size_t size, char content6[TT_CONTENT_DIGITS + 1]);

/* A person's row out of another sheet of the same recording; sheet was started. */
bool tt_sheet_add_persons(struct tt_sheet *sheet, const struct tt_row *row, struct tt_error *err);

/* The program's own rows of such a text, proposed again as they stand there (tt_sheet_propose), for runs that decide
 * nothing anew. Times that a spreadsheet rounded are an error: the sound would move. */
bool tt_sheet_read_programs(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name,
                            int64_t duration_ms, struct tt_error *err);

/* A changes file: rows of any takes, columns as above but `by`. Rows whose take equals sheet->take are merged as a
 * person's (same id as a person's row: replaces all of it; else: added). `text` is checked whole. *taken counts those
 * that were merged here, *rows all. On failure the sheet is as before. */
bool tt_sheet_merge_changes(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name,
                            int64_t duration_ms, size_t *taken, size_t *rows, struct tt_error *err);

/* Adds a decision of the program's, unless persons' rows of the same kind cover it by half (it is the same decision
 * then, as is a gap within a second of a person's). Where a person's row overlaps it, it is trimmed to the larger rest;
 * a cut keeps every rest, as a second row. Rests under 20 ms are dropped. Gaps and labels trim nothing, pauses and the
 * sounds in them (breath, click, noise) stand together. A person's row with rounded times takes over the exact ones of
 * the decision that it stands for. row->note is copied (NULL: empty). */
bool tt_sheet_propose(struct tt_sheet *sheet, const struct tt_row *row, struct tt_error *err);

/* Time order, numbering (m1, t1, p1, b1, c1, n1, g1, l1, o1 by kind) and ids; of two persons' rows that overlap and are
 * not of kinds that can stand together the later in the file wins (the earlier is trimmed as above). Persons' rows keep
 * letter and number of the id they had. Amounts and confidence become what the sheet will show, so that rendering now
 * and after reading the sheet is the same. */
bool tt_sheet_seal(struct tt_sheet *sheet, struct tt_error *err);

/* CSV text with header; formula-like cells get an apostrophe. False when out of memory. */
bool tt_sheet_write(const struct tt_sheet *sheet, struct tt_text *out);
/* Digest input of what rendering depends on: times, kind, action, amount of rows that change sound. */
void tt_sheet_render_text(const struct tt_sheet *sheet, struct tt_text *out);

/* The parts of the take that are out because of rows with action cut of any kind but pause, and of the readings that
 * replaced a misread that was chosen (its note: "read again A-B", when that is in this take); merged, rising, freshly
 * allocated. */
bool tt_sheet_cut_spans(const struct tt_sheet *sheet, struct tt_span **spans, size_t *count, struct tt_error *err);

#endif
