/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The cut sheet as text: which rows of it are a person's, and writing it. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "sheet/csv.h"
#include "sheet/row_id.h"
#include "sheet/row_text.h"
#include "sheet/row_times.h"
#include "sheet/sheet.h"
#include "sheet/sheet_rows.h"

static bool is_persons(const struct row_text *found)
{
    const struct tt_row *row = &found->row;
    return row->is_persons || !found->has_id || found->id.letter != row_id_letter(row->kind) ||
           row->action != row->proposed || !row_id_fits(found->id.check, row, row->rounding_ms);
}

static bool read_persons_rows(struct row_reader *reader, struct tt_sheet *sheet, struct tt_error *err)
{
    struct row_text found;
    for (bool has_row = true;;) {
        if (!row_reader_next(reader, &found, &has_row, err))
            return false;
        if (!has_row)
            return true;
        if (!is_persons(&found))
            continue;
        if (!row_reader_check_length(reader, &found.row, err))
            return false;
        found.row.is_persons = true;
        if (!sheet_append(sheet, &found.row, err))
            return false;
    }
}

bool tt_sheet_read(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name, int64_t duration_ms,
                   size_t *persons_count, struct tt_error *err)
{
    struct row_reader reader;
    size_t before = sheet->count;
    *persons_count = 0;
    if (!row_reader_open(&reader, ROWS_OF_ONE_TAKE, sheet, text, size, file_name, duration_ms, err))
        return false;
    bool is_read = read_persons_rows(&reader, sheet, err);
    row_reader_close(&reader);
    if (!is_read)
        sheet_shrink(sheet, before);
    *persons_count = sheet->count - before;
    return is_read;
}

bool tt_sheet_find_content(const char *text, size_t size, char content6[TT_CONTENT_DIGITS + 1])
{
    static const char *const name[] = {"id"};
    static const bool is_needed[] = {true};
    struct tt_csv csv;
    struct row_id id;
    int column;
    bool is_found = false, has_row = true;
    if (!tt_csv_open(&csv, "", text, size, NULL))
        return false;
    if (tt_csv_read_header(&csv, name, is_needed, 1, &column, NULL))
        while (!is_found && tt_csv_next(&csv, &has_row, NULL) && has_row)
            is_found = row_id_parse(tt_csv_text(&csv, column), &id);
    tt_csv_close(&csv);
    if (is_found)
        memcpy(content6, id.content6, sizeof id.content6);
    return is_found;
}

bool tt_sheet_read_programs(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name,
                            int64_t duration_ms, struct tt_error *err)
{
    struct row_reader reader;
    struct row_text found;
    bool has_row = true, is_read = true;
    if (!row_reader_open(&reader, ROWS_OF_ONE_TAKE, sheet, text, size, file_name, duration_ms, err))
        return false;
    while (is_read && (is_read = row_reader_next(&reader, &found, &has_row, err)) && has_row) {
        if (is_persons(&found))
            continue;
        if (found.row.rounding_ms)
            is_read = tt_fail(err, TT_ERROR_USAGE,
                              "%s: the program's rows were saved with rounded times, so their exact places are lost; "
                              "put the sheet back, or set deliver.hold to no",
                              file_name);
        else
            is_read = tt_sheet_propose(sheet, &found.row, err);
    }
    row_reader_close(&reader);
    return is_read;
}

/* Collects the changes first: nothing is merged before all are read. */
static bool read_changes(struct row_reader *reader, struct tt_sheet *changes, size_t *rows, struct tt_error *err)
{
    struct row_text found;
    for (bool has_row = true;;) {
        if (!row_reader_next(reader, &found, &has_row, err))
            return false;
        if (!has_row)
            return true;
        if (!row_reader_check_length(reader, &found.row, err))
            return false;
        ++*rows;
        if (!found.is_of_take)
            continue;
        found.row.is_persons = true;
        if (!sheet_append(changes, &found.row, err))
            return false;
    }
}

static bool merge(struct tt_sheet *sheet, struct tt_sheet *changes, struct tt_error *err)
{
    size_t before = sheet->count;
    for (size_t c = 0; c < changes->count; c++)
        if (!sheet_append(sheet, &changes->rows[c], err)) {
            sheet_shrink(sheet, before);
            return false;
        }
    /* The change comes later in the file, as it were; the row that it replaces goes. */
    size_t kept = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        bool is_replaced = false;
        for (size_t c = i < before ? before : i + 1; c < sheet->count && !is_replaced; c++)
            is_replaced =
                sheet->rows[i].is_persons && sheet->rows[i].id[0] && strcmp(sheet->rows[i].id, sheet->rows[c].id) == 0;
        if (is_replaced)
            free(sheet->rows[i].note);
        else
            sheet->rows[kept++] = sheet->rows[i];
    }
    sheet->count = kept;
    return true;
}

bool tt_sheet_merge_changes(struct tt_sheet *sheet, const char *text, size_t size, const char *file_name,
                            int64_t duration_ms, size_t *taken, size_t *rows, struct tt_error *err)
{
    struct row_reader reader;
    struct tt_sheet changes = {0};
    *taken = *rows = 0;
    if (!row_reader_open(&reader, ROWS_OF_ANY_TAKE, sheet, text, size, file_name, duration_ms, err))
        return false;
    bool is_merged = read_changes(&reader, &changes, rows, err) && merge(sheet, &changes, err);
    row_reader_close(&reader);
    if (is_merged)
        *taken = changes.count;
    tt_sheet_free(&changes);
    return is_merged;
}

static void write_row(const struct tt_sheet *sheet, const struct tt_row *row, struct tt_text *out)
{
    char start[TT_TIME_CHARS], end[TT_TIME_CHARS], amount[32], confidence[32] = "";
    tt_time_format(row->start_ms, start);
    tt_time_format(row->end_ms, end);
    row_amount_format(row, amount, sizeof amount);
    long long hundredths = isnan(row->confidence) ? -1 : llround(row->confidence * 100);
    if (hundredths >= 0)
        snprintf(confidence, sizeof confidence, "%lld.%02lld", hundredths / 100, hundredths % 100);
    const char *cells[] = {sheet->take,
                           row->id,
                           start,
                           end,
                           tt_row_kind_name(row->kind),
                           !row->is_unproposed ? tt_row_action_name(row->proposed) : "",
                           tt_row_action_name(row->action),
                           amount,
                           confidence,
                           row->is_persons ? "me" : "",
                           row->note ? row->note : ""};
    size_t count = sizeof cells / sizeof cells[0];
    for (size_t i = 0; i < count; i++)
        tt_csv_add(out, cells[i], i + 1 == count);
}

bool tt_sheet_write(const struct tt_sheet *sheet, struct tt_text *out)
{
    tt_text_add(out, "take,id,start,end,kind,proposed,action,amount,confidence,by,note\r\n");
    for (size_t i = 0; i < sheet->count; i++)
        write_row(sheet, &sheet->rows[i], out);
    return !out->has_failed;
}
