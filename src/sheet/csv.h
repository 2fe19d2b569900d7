/* SPDX-License-Identifier: GPL-2.0-or-later */
/* RFC 4180 tables as people and spreadsheets save them: comma, semicolon or tab (found in the first line), CRLF, LF or
 * CR, byte-order mark, quoted line breaks. Errors begin with "FILE:LINE:COLUMN: ", where LINE is the line of the text
 * and COLUMN the number of the cell in its row, both from 1: the same cell in an editor and in a spreadsheet. */
#ifndef TT_SHEET_CSV_H
#define TT_SHEET_CSV_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"
#include "base/text.h"

struct tt_csv_cell {
    const char *text; /* valid UTF-8 without NUL bytes, NUL-terminated; formula guard taken off */
    int line;         /* where it begins */
};

/* A reader and the row that was read last. Start with tt_csv_open, end with tt_csv_close. */
struct tt_csv {
    const char *file_name;
    const char *text;
    size_t size, at;
    int line;
    char delimiter;
    struct tt_csv_cell *cells; /* of the row read last, valid until the next */
    size_t cell_count, cell_capacity;
    char *buffer; /* their texts */
    size_t buffer_used;
};

/* text and file_name are borrowed until tt_csv_close. Nothing to close after a failure. */
bool tt_csv_open(struct tt_csv *csv, const char *file_name, const char *text, size_t size, struct tt_error *err);
void tt_csv_close(struct tt_csv *csv); /* NULL is fine */

/* The next row that is not empty: true with *has_row false at the end, false on an error. */
bool tt_csv_next(struct tt_csv *csv, bool *has_row, struct tt_error *err);

/* Finds the columns of a table by its header, which is read here (any order, any case). columns[i] becomes the place of
 * names[i], -1 where there is none; a missing name with is_needed[i] is an error, unknown names are passed over. Rows
 * read later must not be longer than the header (tt_csv_next does not check that; tt_csv_check_length does). */
bool tt_csv_read_header(struct tt_csv *csv, const char *const *names, const bool *is_needed, size_t count, int *columns,
                        struct tt_error *err);
/* Cells behind the last column must be empty: else a text with the delimiter in it lacks its quotes. */
bool tt_csv_check_length(const struct tt_csv *csv, size_t column_count, struct tt_error *err);

/* A cell of the row read last; "" where the row is too short or column is -1. */
const char *tt_csv_text(const struct tt_csv *csv, int column);
/* tt_fail with the cell's place in front; returns false. */
bool tt_csv_fail(const struct tt_csv *csv, int column, struct tt_error *err, const char *format, ...) TT_PRINTF(4, 5);

/* One cell and what follows it (a comma, or CRLF behind the last of its row). Quotes where needed. A cell that a
 * spreadsheet could take for a formula gets an apostrophe, which reading takes off again. Bytes that are not UTF-8, and
 * control characters but tab and line breaks, become U+FFFD. */
void tt_csv_add(struct tt_text *out, const char *cell, bool is_last);
/* A text as tt_csv_add writes it and reading gives it back: to compare names with. NULL when out of memory. */
char *tt_csv_clean(const char *text);

#endif
