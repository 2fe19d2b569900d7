/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Between the parts of sheet/row_text.c. */
#ifndef TT_SHEET_ROW_PARTS_H
#define TT_SHEET_ROW_PARTS_H

#include "sheet/row_text.h"

extern const char *const row_column_names[ROW_COLUMNS];
/* The text of the row's cell, "" where it is missing. */
const char *row_cell(const struct row_reader *reader, enum row_column column);
bool row_is_blank(const char *text);

/* row_times.c. The times of the row, checked against the take where it is of that. */
bool row_times_read(const struct row_reader *reader, struct row_text *found, struct tt_error *err);
/* Reads all rows to see whether they were rounded. */
bool row_times_find_rounding(struct row_reader *reader, struct tt_error *err);

#endif
