/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Start and end of a row, also as a spreadsheet has rounded them. */
#ifndef TT_SHEET_ROW_TIMES_H
#define TT_SHEET_ROW_TIMES_H

#include "sheet/row_cells.h"

/* The times of the row, checked against the take where it is of that. */
bool row_times_read(const struct row_reader *reader, struct row_text *found, struct tt_error *err);
/* Reads all rows to see whether they were rounded. */
bool row_times_find_rounding(struct row_reader *reader, struct tt_error *err);
/* An error for a row, the last one read, that ends where it begins, unless its kind is a point, or it was rounded. */
bool row_reader_check_length(const struct row_reader *reader, const struct tt_row *row, struct tt_error *err);

#endif
