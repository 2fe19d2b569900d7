/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/csv.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/grow.h"
#include "sheet/csv_text.h"

/* More cells in one row than any spreadsheet has columns (16384 in the largest). */
enum { CELLS_MOST = 16384 };

static bool fail_at(const struct tt_csv *csv, int line, size_t column, struct tt_error *err, const char *message)
{
    return tt_fail(err, TT_ERROR_INPUT, "%s:%d:%zu: %s", csv->file_name, line, column + 1, message);
}

bool tt_csv_fail(const struct tt_csv *csv, int column, struct tt_error *err, const char *format, ...)
{
    char message[sizeof err->message];
    va_list args;
    va_start(args, format);
    if (vsnprintf(message, sizeof message, format, args) < 0)
        message[0] = '\0';
    va_end(args);
    size_t at = column < 0 ? 0 : (size_t)column;
    size_t known = at < csv->cell_count ? at : csv->cell_count - 1;
    return fail_at(csv, csv->cell_count ? csv->cells[known].line : csv->line, at, err, message);
}

/* The delimiter is the one that the first line has most of, outside quotes. */
static char find_delimiter(const char *text, size_t size)
{
    static const char candidates[] = {',', ';', '\t'};
    size_t counts[sizeof candidates] = {0};
    bool is_quoted = false;
    for (size_t i = 0; i < size; i++) {
        if (text[i] == '"')
            is_quoted = !is_quoted;
        if (is_quoted)
            continue;
        if (text[i] == '\n' || text[i] == '\r')
            break;
        for (size_t c = 0; c < sizeof candidates; c++)
            counts[c] += text[i] == candidates[c];
    }
    size_t best = 0;
    for (size_t c = 1; c < sizeof candidates; c++)
        if (counts[c] > counts[best])
            best = c;
    return candidates[best];
}

bool tt_csv_open(struct tt_csv *csv, const char *file_name, const char *text, size_t size, struct tt_error *err)
{
    *csv = (struct tt_csv){.file_name = file_name, .text = text, .size = size, .line = 1};
    if (size >= 2 && (memcmp(text, "\xFF\xFE", 2) == 0 || memcmp(text, "\xFE\xFF", 2) == 0))
        return fail_at(csv, 1, 0, err, "the text is UTF-16; save it as CSV in UTF-8");
    if (size >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0)
        csv->at = 3;
    csv->delimiter = find_delimiter(text + csv->at, size - csv->at);
    /* Each cell's text is at most as long as it stands, and what ends it leaves room for the NUL. */
    if (size == SIZE_MAX || !(csv->buffer = malloc(size + 1)))
        return tt_fail_memory(err);
    return true;
}

void tt_csv_close(struct tt_csv *csv)
{
    if (!csv)
        return;
    free(csv->cells);
    free(csv->buffer);
    *csv = (struct tt_csv){0};
}

static bool is_at_end(const struct tt_csv *csv) { return csv->at >= csv->size; }
static bool is_break(char c) { return c == '\n' || c == '\r'; }

/* Steps over one byte; a line ends with LF, CRLF or CR. */
static void step(struct tt_csv *csv)
{
    char c = csv->text[csv->at++];
    if (c == '\n' || (c == '\r' && (is_at_end(csv) || csv->text[csv->at] != '\n')))
        csv->line++;
}

static void keep(struct tt_csv *csv, char c) { csv->buffer[csv->buffer_used++] = c; }

static bool read_quoted(struct tt_csv *csv, int line, struct tt_error *err)
{
    for (csv->at++;;) {
        if (is_at_end(csv))
            return fail_at(csv, line, csv->cell_count, err,
                           "the quote that opens this cell is not closed; add \" at its end");
        char c = csv->text[csv->at];
        if (c == '"') {
            csv->at++;
            if (is_at_end(csv) || csv->text[csv->at] != '"')
                break;
        }
        keep(csv, c);
        step(csv);
    }
    if (is_at_end(csv) || csv->text[csv->at] == csv->delimiter || is_break(csv->text[csv->at]))
        return true;
    return fail_at(csv, line, csv->cell_count, err, "text behind the closing quote; write a quote inside a cell twice");
}

/* A quote inside a cell that does not begin with one is taken as it is: that is how people type notes. */
static void read_plain(struct tt_csv *csv)
{
    while (!is_at_end(csv) && csv->text[csv->at] != csv->delimiter && !is_break(csv->text[csv->at]))
        keep(csv, csv->text[csv->at++]);
}

static bool add_cell(struct tt_csv *csv, struct tt_csv_cell cell, struct tt_error *err)
{
    if (csv->cell_count >= CELLS_MOST)
        return fail_at(csv, cell.line, csv->cell_count, err, "too many cells in one row; is this the right file?");
    struct tt_csv_cell *cells = tt_grow(csv->cells, csv->cell_count, &csv->cell_capacity, sizeof *cells, err);
    if (!cells)
        return false;
    csv->cells = cells;
    csv->cells[csv->cell_count++] = cell;
    return true;
}

static bool read_cell(struct tt_csv *csv, struct tt_error *err)
{
    struct tt_csv_cell cell = {csv->buffer + csv->buffer_used, csv->line};
    if (!is_at_end(csv) && csv->text[csv->at] == '"') {
        if (!read_quoted(csv, cell.line, err))
            return false;
    } else
        read_plain(csv);
    size_t length = (size_t)(csv->buffer + csv->buffer_used - cell.text);
    if (memchr(cell.text, '\0', length))
        return fail_at(csv, cell.line, csv->cell_count, err, "this is not a text; save the sheet as CSV in UTF-8");
    if (!csv_is_utf8(cell.text, length))
        return fail_at(csv, cell.line, csv->cell_count, err, "not UTF-8; save the sheet as CSV in UTF-8");
    keep(csv, '\0');
    if (csv_is_guarded(cell.text))
        cell.text++;
    return add_cell(csv, cell, err);
}

static bool read_row(struct tt_csv *csv, struct tt_error *err)
{
    csv->cell_count = csv->buffer_used = 0;
    for (;;) {
        if (!read_cell(csv, err))
            return false;
        if (is_at_end(csv))
            return true;
        bool is_row_end = is_break(csv->text[csv->at]);
        bool is_crlf = csv->text[csv->at] == '\r' && csv->size - csv->at > 1 && csv->text[csv->at + 1] == '\n';
        step(csv);
        if (is_crlf)
            step(csv);
        if (is_row_end)
            return true;
    }
}

bool tt_csv_next(struct tt_csv *csv, bool *has_row, struct tt_error *err)
{
    *has_row = false;
    while (!is_at_end(csv)) {
        if (!read_row(csv, err))
            return false;
        for (size_t i = 0; i < csv->cell_count; i++)
            if (csv->cells[i].text[strspn(csv->cells[i].text, " \t\r\n")])
                *has_row = true;
        if (*has_row)
            return true;
    }
    return true;
}

/* Whether a cell is a name, whatever its case and the spaces around it. */
static bool is_name(const char *cell, const char *name)
{
    cell += strspn(cell, " \t");
    size_t length = strlen(name);
    return strncasecmp(cell, name, length) == 0 && cell[length + strspn(cell + length, " \t")] == '\0';
}

bool tt_csv_read_header(struct tt_csv *csv, const char *const *names, const bool *is_needed, size_t count, int *columns,
                        struct tt_error *err)
{
    bool has_row;
    if (!tt_csv_next(csv, &has_row, err))
        return false;
    if (!has_row)
        return fail_at(csv, 1, 0, err, "the sheet is empty; its first row must name the columns");
    for (size_t i = 0; i < count; i++) {
        columns[i] = -1;
        for (size_t c = 0; c < csv->cell_count; c++) {
            if (!is_name(csv->cells[c].text, names[i]))
                continue;
            if (columns[i] >= 0)
                return tt_csv_fail(csv, (int)c, err, "the column '%s' is there twice; take one of them out", names[i]);
            columns[i] = (int)c;
        }
    }
    for (size_t i = 0; i < count; i++)
        if (columns[i] < 0 && is_needed[i])
            return tt_csv_fail(csv, 0, err, "the column '%s' is missing; the first row must name the columns",
                               names[i]);
    return true;
}

bool tt_csv_check_length(const struct tt_csv *csv, size_t column_count, struct tt_error *err)
{
    for (size_t c = column_count; c < csv->cell_count; c++)
        if (csv->cells[c].text[0])
            return tt_csv_fail(csv, (int)c, err,
                               "more cells than columns; a text with '%s' in it needs quotes around it",
                               csv->delimiter == '\t'  ? "tab"
                               : csv->delimiter == ';' ? ";"
                                                       : ",");
    return true;
}

const char *tt_csv_text(const struct tt_csv *csv, int column)
{
    return column >= 0 && (size_t)column < csv->cell_count ? csv->cells[column].text : "";
}
