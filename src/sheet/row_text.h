/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rows of a cut sheet or a changes file, read from CSV text and checked one by one. */
#ifndef TT_SHEET_ROW_TEXT_H
#define TT_SHEET_ROW_TEXT_H

#include "sheet/row_cells.h"

bool row_reader_open(struct row_reader *reader, enum row_takes takes, const struct tt_sheet *sheet, const char *text,
                     size_t size, const char *file_name, int64_t duration_ms, struct tt_error *err);
bool row_reader_next(struct row_reader *reader, struct row_text *found, bool *has_row, struct tt_error *err);
void row_reader_close(struct row_reader *reader);

#endif
