/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A row of a cut sheet or a changes file as its cells, and what is being read of it. */
#ifndef TT_SHEET_ROW_CELLS_H
#define TT_SHEET_ROW_CELLS_H

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

extern const char *const row_column_names[ROW_COLUMNS];
/* The text of the row's cell, "" where it is missing. */
const char *row_cell(const struct row_reader *reader, enum row_column column);
bool row_is_blank(const char *text);

#endif
