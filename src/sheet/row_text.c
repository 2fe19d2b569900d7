/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/row_text.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "sheet/row_times.h"
#include "sheet/sheet_rows.h"

/* More than anyone would wait, or turn down. */
enum { AMOUNT_MOST_S = 86400, GAP_MOST_S = 3600, AMOUNT_MOST_DB = 120 };

static bool fail_word(const struct row_reader *reader, enum row_column column, const char *text,
                      const struct tt_row *row, struct tt_error *err)
{
    const char *words[ROW_WORDS_MOST];
    size_t count = column == COLUMN_KIND ? row_list_kinds(words) : row_list_actions(row->kind, words);
    const char *nearest = tt_nearest_name(text, words, count);
    struct tt_text list = {0};
    for (size_t i = 0; i < count; i++)
        tt_text_addf(&list, "%s%s", i ? ", " : "", words[i]);
    enum tt_row_action action;
    if (nearest)
        tt_text_addf(&list, "; did you mean %s?", nearest);
    else if (column == COLUMN_KIND && (row_is_blank(text) || row_action_parse(text, &action)))
        tt_text_add(&list, "; a part of your own is of kind other, and what to do with it stands in the column action");
    const char *shown = list.data ? list.data : "";
    if (column == COLUMN_KIND)
        tt_csv_fail(&reader->csv, reader->columns[column], err, "kind '%.60s' is unknown; it is one of %s", text,
                    shown);
    else
        tt_csv_fail(&reader->csv, reader->columns[column], err, "%s '%.60s' does not go with %s; allowed: %s",
                    row_column_names[column], text, tt_row_kind_name(row->kind), shown);
    tt_text_free(&list);
    return false;
}

static bool read_words(const struct row_reader *reader, struct tt_row *row, struct tt_error *err)
{
    const char *kind = row_cell(reader, COLUMN_KIND), *action = row_cell(reader, COLUMN_ACTION),
               *proposed = row_cell(reader, COLUMN_PROPOSED);
    const char *by = row_cell(reader, COLUMN_BY);
    if (!row_kind_parse(kind, &row->kind))
        return fail_word(reader, COLUMN_KIND, kind, row, err);
    if (!row_action_parse(action, &row->action) || !tt_row_allows(row->kind, row->action))
        return fail_word(reader, COLUMN_ACTION, action, row, err);
    row->proposed = row->action;
    row->is_unproposed = row_is_blank(proposed);
    if (!row->is_unproposed && !row_action_parse(proposed, &row->proposed))
        return fail_word(reader, COLUMN_PROPOSED, proposed, row, err);
    by += strspn(by, " \t");
    row->is_persons = strncasecmp(by, "me", 2) == 0 && row_is_blank(by + 2);
    if (!row->is_persons && !row_is_blank(by))
        return tt_csv_fail(&reader->csv, reader->columns[COLUMN_BY], err,
                           "by '%.60s' is unknown; write me, or leave it empty", by);
    return true;
}

static bool read_number(const struct row_reader *reader, enum row_column column, double most, double *value,
                        struct tt_error *err)
{
    const char *text = row_cell(reader, column);
    *value = NAN;
    if (row_is_blank(text))
        return true;
    if (!tt_number_parse(text, value) || *value < 0 || *value > most)
        return tt_csv_fail(&reader->csv, reader->columns[column], err, "%s '%.60s' must be a number from 0 to %g",
                           row_column_names[column], text, most);
    return true;
}

static bool read_numbers(const struct row_reader *reader, struct tt_row *row, struct tt_error *err)
{
    bool is_db = row_kind_is_sound(row->kind);
    if (!read_number(reader, COLUMN_AMOUNT, is_db ? AMOUNT_MOST_DB : AMOUNT_MOST_S, &row->amount, err))
        return false;
    if (row->kind == TT_ROW_GAP && row->amount > GAP_MOST_S)
        return tt_csv_fail(&reader->csv, reader->columns[COLUMN_AMOUNT], err,
                           "a gap of %.60s seconds: an hour (%d) is the most that can be opened; leave longer silence "
                           "to the picture edit",
                           row_cell(reader, COLUMN_AMOUNT), GAP_MOST_S);
    bool is_needed = row->action == TT_DO_SHORTEN || row->action == TT_DO_SOFTEN || row->action == TT_DO_OPEN;
    if (is_needed && isnan(row->amount))
        return tt_csv_fail(&reader->csv, reader->columns[COLUMN_AMOUNT], err, "%s needs an amount: %s",
                           tt_row_action_name(row->action),
                           is_db                     ? "dB to turn it down by"
                           : row->kind == TT_ROW_GAP ? "seconds to open"
                                                     : "seconds that stay");
    return read_number(reader, COLUMN_CONFIDENCE, 1, &row->confidence, err);
}

static bool read_id(const struct row_reader *reader, struct row_text *found, struct tt_error *err)
{
    const char *text = row_cell(reader, COLUMN_ID);
    char id[TT_ROW_ID_CHARS];
    text += strspn(text, " \t");
    size_t length = strcspn(text, " \t");
    found->has_id = !row_is_blank(text);
    if (!found->has_id)
        return true;
    if (length < sizeof id) {
        memcpy(id, text, length);
        id[length] = '\0';
    }
    if (length >= sizeof id || !row_is_blank(text + length) || !row_id_parse(id, &found->id))
        return tt_csv_fail(&reader->csv, reader->columns[COLUMN_ID], err,
                           "id '%.60s' is none of ours; leave it empty in a row of your own", text);
    for (size_t i = 0; i <= length; i++)
        found->row.id[i] = (char)(i && id[i] >= 'A' && id[i] <= 'F' ? id[i] - 'A' + 'a' : id[i]);
    return true;
}

static bool check_take(const struct row_reader *reader, struct row_text *found, struct tt_error *err)
{
    const char *take = row_cell(reader, COLUMN_TAKE);
    found->is_of_take = strcmp(take, reader->take) == 0 || (reader->takes == ROWS_OF_ONE_TAKE && row_is_blank(take));
    if (reader->takes == ROWS_OF_ANY_TAKE && row_is_blank(take))
        return tt_csv_fail(&reader->csv, reader->columns[COLUMN_TAKE], err,
                           "the take is empty; a changes file names the take of each row");
    if (!found->is_of_take && reader->takes == ROWS_OF_ANY_TAKE)
        return true;
    if (!found->is_of_take)
        return tt_csv_fail(&reader->csv, reader->columns[COLUMN_TAKE], err,
                           "the sheet is of another recording: this row is of '%.100s', the take is '%.100s'; move the "
                           "sheet away, or correct the name",
                           take, reader->take);
    if (found->has_id && strcmp(found->id.content6, reader->sheet->content6) != 0)
        return tt_csv_fail(&reader->csv, reader->columns[COLUMN_ID], err,
                           "the sheet is of another recording: the id says %s, '%.100s' is %s now; move the sheet "
                           "away, or empty the id to apply the row "
                           "all the same",
                           found->id.content6, reader->take, reader->sheet->content6);
    return true;
}

/* Commas between the cells and in the numbers: which is which cannot be told, but where a row becomes longer than the
 * first that is what happened. */
static bool check_commas(const struct row_reader *reader, struct tt_error *err)
{
    enum tt_row_kind kind;
    if (reader->csv.delimiter != ',' || reader->csv.cell_count <= reader->column_count ||
        row_kind_parse(row_cell(reader, COLUMN_KIND), &kind))
        return true;
    return tt_csv_fail(&reader->csv, reader->columns[COLUMN_START], err,
                       "this row has more cells than the first: commas stand between the cells and in the numbers; "
                       "save the sheet with semicolons, or write the "
                       "numbers with points");
}

bool row_reader_next(struct row_reader *reader, struct row_text *found, bool *has_row, struct tt_error *err)
{
    *found = (struct row_text){0};
    if (!tt_csv_next(&reader->csv, has_row, err))
        return false;
    if (!*has_row)
        return true;
    found->row.note = (char *)(uintptr_t)row_cell(reader, COLUMN_NOTE); /* only read, and copied by who keeps it */
    return check_commas(reader, err) && tt_csv_check_length(&reader->csv, reader->column_count, err) &&
           read_words(reader, &found->row, err) && read_numbers(reader, &found->row, err) &&
           read_id(reader, found, err) && check_take(reader, found, err) && row_times_read(reader, found, err);
}

static bool open_table(struct row_reader *reader, const char *text, size_t size, const char *file_name,
                       struct tt_error *err)
{
    bool is_needed[ROW_COLUMNS];
    for (int i = 0; i < ROW_COLUMNS; i++)
        is_needed[i] = i != COLUMN_PROPOSED && i != COLUMN_CONFIDENCE && i != COLUMN_NOTE;
    is_needed[COLUMN_BY] = reader->takes == ROWS_OF_ONE_TAKE;
    if (!tt_csv_open(&reader->csv, file_name, text, size, err))
        return false;
    if (!tt_csv_read_header(&reader->csv, row_column_names, is_needed, ROW_COLUMNS, reader->columns, err)) {
        tt_csv_close(&reader->csv);
        return false;
    }
    reader->column_count = reader->csv.cell_count;
    return true;
}

bool row_reader_open(struct row_reader *reader, enum row_takes takes, const struct tt_sheet *sheet, const char *text,
                     size_t size, const char *file_name, int64_t duration_ms, struct tt_error *err)
{
    *reader = (struct row_reader){.takes = takes, .sheet = sheet, .duration_ms = duration_ms};
    if (!(reader->take = tt_csv_clean(sheet->take)))
        return tt_fail_memory(err);
    if (!open_table(reader, text, size, file_name, err))
        goto failed;
    if (!row_times_find_rounding(reader, err))
        goto failed;
    tt_csv_close(&reader->csv);
    if (!open_table(reader, text, size, file_name, err))
        goto failed;
    return true;
failed:
    row_reader_close(reader);
    return false;
}

void row_reader_close(struct row_reader *reader)
{
    tt_csv_close(&reader->csv);
    free(reader->take);
    *reader = (struct row_reader){0};
}
