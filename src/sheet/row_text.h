/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rows of a cut sheet or a changes file, read from CSV text and checked one by one. */
#ifndef TT_SHEET_ROW_TEXT_H
#define TT_SHEET_ROW_TEXT_H

#include "sheet/csv.h"
#include "sheet/row_id.h"
#include "sheet/sheet.h"

enum row_column {
    COLUMN_TAKE,
    COLUMN_ID,
    COLUMN_START,
    COLUMN_END,
    COLUMN_KIND,
    COLUMN_PROPOSED,
    COLUMN_ACTION,
    COLUMN_AMOUNT,
    COLUMN_CONFIDENCE,
    COLUMN_BY,
    COLUMN_NOTE,
    ROW_COLUMNS
};

/* A row as it stands there; row.note is borrowed until the next one. is_persons: `by` says me. */
struct row_text {
    struct tt_row row;
    struct row_id id; /* when has_id; row.id is its normal form */
    bool has_id;
    bool is_of_take; /* its take is the sheet's */
};

/* ROWS_OF_ONE_TAKE: rows of other takes are an error; ROWS_OF_ANY_TAKE: they are checked as far as that can be. */
enum row_takes { ROWS_OF_ONE_TAKE, ROWS_OF_ANY_TAKE };

struct row_reader {
    struct tt_csv csv;
    int columns[ROW_COLUMNS];
    size_t column_count;
    enum row_takes takes;
    const struct tt_sheet *sheet;
    char *take; /* as a cell shows it */
    int64_t duration_ms;
    bool is_rounded; /* most rows have less than milliseconds: a spreadsheet has saved the sheet */
};

bool row_reader_open(struct row_reader *reader, enum row_takes takes, const struct tt_sheet *sheet, const char *text,
                     size_t size, const char *file_name, int64_t duration_ms, struct tt_error *err);
bool row_reader_next(struct row_reader *reader, struct row_text *found, bool *has_row, struct tt_error *err);
/* An error for a row, the last one read, that ends where it begins, unless its kind is a point, or it was rounded. */
bool row_reader_check_length(const struct row_reader *reader, const struct tt_row *row, struct tt_error *err);
void row_reader_close(struct row_reader *reader);

#endif
