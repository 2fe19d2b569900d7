/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Shared by the files that make up the cut sheet. */
#ifndef TT_SHEET_SHEET_ROWS_H
#define TT_SHEET_SHEET_ROWS_H

#include "sheet/sheet.h"

/* Copies the row and its note to the end. */
bool sheet_append(struct tt_sheet *sheet, const struct tt_row *row, struct tt_error *err);
/* Takes the rows from `count` on away again. */
void sheet_shrink(struct tt_sheet *sheet, size_t count);

/* All kinds, and the actions that go with one, as they are written: what an error message lists. */
enum { ROW_WORDS_MOST = (int)TT_ROW_KINDS > (int)TT_DO_ACTIONS ? (int)TT_ROW_KINDS : (int)TT_DO_ACTIONS };
size_t row_list_kinds(const char *words[ROW_WORDS_MOST]);
size_t row_list_actions(enum tt_row_kind kind, const char *words[ROW_WORDS_MOST]);
/* Any case, spaces around allowed; false when unknown. */
bool row_kind_parse(const char *text, enum tt_row_kind *kind);
bool row_action_parse(const char *text, enum tt_row_action *action);

/* Breaths, clicks and noises lie in pauses; gaps and labels are points that stand anywhere. */
bool row_kind_is_sound(enum tt_row_kind kind);
bool row_kind_is_point(enum tt_row_kind kind);
/* The reading that replaced a misread, from its note "read again A-B"; false when it is not in this take. */
bool row_read_again(const struct tt_row *row, struct tt_span *span);

/* The canonical number of an amount as the sheet shows it, e.g. "0.899" or "12.0"; empty for NAN. */
void row_amount_format(const struct tt_row *row, char *text, size_t capacity);

#endif
