/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The cut sheet: every decision on one take, read and written as RFC 4180 CSV, edited by a person in between. */
#ifndef TT_SHEET_SHEET_H
#define TT_SHEET_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/text.h"

enum tt_row_kind { TT_ROW_MISREAD, TT_ROW_TALK, TT_ROW_PAUSE, TT_ROW_BREATH, TT_ROW_CLICK, TT_ROW_NOISE, TT_ROW_GAP, TT_ROW_LABEL, TT_ROW_OTHER, TT_ROW_KINDS };
enum tt_row_action { TT_DO_CUT, TT_DO_ASK, TT_DO_KEEP, TT_DO_CHOOSE, TT_DO_SHORTEN, TT_DO_SOFTEN, TT_DO_OPEN, TT_DO_ACTIONS };

enum { TT_ROW_ID_CHARS = 32 };

struct tt_row {
    char id[TT_ROW_ID_CHARS];         /* "" until the sheet is sealed */
    int64_t start_ms, end_ms;         /* in the take */
    enum tt_row_kind kind;
    enum tt_row_action proposed;      /* by the program; equals action on a person's own row */
    enum tt_row_action action;        /* in force */
    double amount;                    /* seconds or dB; NAN when empty */
    double confidence;                /* 0..1; NAN when empty */
    bool is_persons;                  /* by = me */
    char *note;                       /* never NULL after reading or proposing; owned by the row */
};

struct tt_sheet {
    char *take;                       /* file name of the take */
    char content6[7];                 /* first six hex digits of the recording's SHA-256 */
    struct tt_row *rows;
    size_t count, capacity;
};

const char *tt_row_kind_name(enum tt_row_kind kind);     /* "misread" */
const char *tt_row_action_name(enum tt_row_action action);
/* Whether an action makes sense for a kind (the table of the design). */
bool tt_row_allows(enum tt_row_kind kind, enum tt_row_action action);

bool tt_sheet_start(struct tt_sheet *sheet, const char *take_name, const char *content_sha256, struct tt_error *err);
void tt_sheet_free(struct tt_sheet *sheet);               /* zeroes it */

/* Reads the CSV text of a sheet saved by us, a person or a spreadsheet. Keeps only a person's rows (the program decides its own anew);
 * *persons_count tells how many. Each kept row is is_persons. The error names file, line and column. Rows of another recording
 * (content digits differ) are refused with an error. duration_ms: rows outside the take are refused, too. */
bool tt_sheet_read(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name, int64_t duration_ms, size_t *persons_count, struct tt_error *err);

/* A changes file: rows of any takes. Rows whose take equals sheet->take are merged as a person's (same id: replaces that row's action/amount/
 * times; no id: added). `text` is checked whole. *taken counts those that were merged here. */
bool tt_sheet_merge_changes(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name, int64_t duration_ms, size_t *taken, struct tt_error *err);

/* Adds a decision of the program's. A person's row of the same kind that covers it by half drops it; where a person's row overlaps it, it is
 * trimmed to the larger rest (for cut, shorten and soften; dropped when less than 20 ms are left). row.note is copied. */
bool tt_sheet_propose(struct tt_sheet *sheet, const struct tt_row *row, struct tt_error *err);

/* Time order, numbering (m1, t1, p1, b1, c1, n1, g1, l1, o1 by kind) and ids; of two persons' rows that overlap and are not of kinds that can stand together
 * the later in the file wins (the earlier is trimmed). Persons' rows keep the id they had when it is of this recording. */
bool tt_sheet_seal(struct tt_sheet *sheet, struct tt_error *err);

/* CSV text with header; formula-like cells get an apostrophe. */
bool tt_sheet_write(const struct tt_sheet *sheet, struct tt_text *out);
/* Digest input of what rendering depends on: times, kind, action, amount of rows that change sound. */
void tt_sheet_render_text(const struct tt_sheet *sheet, struct tt_text *out);

/* The parts of the take that are out because of rows with action cut of any kind but pause (merged, rising), freshly allocated. */
struct tt_span { int64_t start_ms, end_ms; };
bool tt_sheet_cut_spans(const struct tt_sheet *sheet, struct tt_span **spans, size_t *count, struct tt_error *err);

#endif
