/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Start and end of a row, also as a spreadsheet has rounded them or taken their hours off. */
#include "sheet/row_times.h"

#include <string.h>

#include "sheet/sheet_rows.h"

enum { HOUR_MS = 3600000, HOURS_TRIED = 100 };

/* How a time is written. */
struct written {
    int64_t ms;
    int decimals;
    bool has_hours;
};

static bool read_time(const struct row_reader *reader, enum row_column column, struct written *time,
                      struct tt_error *err)
{
    const char *text = row_cell(reader, column);
    if (!tt_time_parse(text, &time->ms, NULL))
        return tt_csv_fail(&reader->csv, reader->columns[column], err,
                           "%s '%.60s' is no time; write it as 0:01:05.250 or 65.250", row_column_names[column], text);
    const char *mark = strpbrk(text, ".,"), *colon = strchr(text, ':');
    time->decimals = mark ? (int)strspn(mark + 1, "0123456789") : 0;
    time->has_hours = !colon || strchr(colon + 1, ':');
    return true;
}

/* What rounding or cutting off to so many decimals may have changed; 0 for milliseconds. */
static int rounding_of(int decimals) { return decimals <= 0 ? 1000 : decimals == 1 ? 100 : decimals == 2 ? 10 : 0; }

static bool fits_proposed(const struct row_text *found, const struct tt_row *row)
{
    struct tt_row proposed = *row;
    proposed.action = row->proposed;
    return row_id_fits(found->id.check, row, row->rounding_ms) ||
           row_id_fits(found->id.check, &proposed, row->rounding_ms);
}

/* Spreadsheets show times with decimals as mm:ss.0 and drop the hours. The id tells which hour it was. */
static void find_hours(const struct row_reader *reader, struct row_text *found)
{
    struct tt_row row = found->row;
    if (row.end_ms < row.start_ms)
        row.end_ms += HOUR_MS;
    for (int hour = 0; hour < HOURS_TRIED && row.end_ms - row.rounding_ms <= reader->duration_ms; hour++) {
        if (fits_proposed(found, &row)) {
            found->row = row;
            return;
        }
        row.start_ms += HOUR_MS;
        row.end_ms += HOUR_MS;
    }
}

/* Inside the take; what lies past its end by no more than how it was rounded is moved to the end. */
static bool check_time(const struct row_reader *reader, enum row_column column, int64_t *ms, int decimals,
                       struct tt_error *err)
{
    int tolerance_ms = rounding_of(decimals) ? rounding_of(decimals) : 1;
    if (*ms <= reader->duration_ms)
        return true;
    char duration[TT_TIME_CHARS];
    tt_time_format(reader->duration_ms, duration);
    if (*ms - tolerance_ms > reader->duration_ms)
        return tt_csv_fail(&reader->csv, reader->columns[column], err,
                           "%s '%.60s' lies behind the end of the take (%s); write an earlier time",
                           row_column_names[column], row_cell(reader, column), duration);
    *ms = reader->duration_ms;
    return true;
}

static bool fail_order(const struct row_reader *reader, struct tt_error *err)
{
    return tt_csv_fail(&reader->csv, reader->columns[COLUMN_END], err, "end '%.60s' must lie behind start '%.60s'",
                       row_cell(reader, COLUMN_END), row_cell(reader, COLUMN_START));
}

bool row_times_read(const struct row_reader *reader, struct row_text *found, struct tt_error *err)
{
    struct written start, end;
    struct tt_row *row = &found->row;
    if (!read_time(reader, COLUMN_START, &start, err))
        return false;
    if (row_kind_is_point(row->kind) && row_is_blank(row_cell(reader, COLUMN_END)))
        end = start;
    else if (!read_time(reader, COLUMN_END, &end, err))
        return false;
    row->start_ms = start.ms;
    row->end_ms = end.ms;
    int decimals = start.decimals < end.decimals ? start.decimals : end.decimals;
    bool is_coarse = start.decimals < 3 && end.decimals < 3 && reader->is_rounded;
    row->rounding_ms = is_coarse ? rounding_of(decimals) : 0;
    if (!found->is_of_take)
        return row->end_ms < row->start_ms ? fail_order(reader, err) : true;
    if (is_coarse && found->has_id && !start.has_hours && !end.has_hours)
        find_hours(reader, found);
    if (row->end_ms < row->start_ms)
        return fail_order(reader, err);
    return check_time(reader, COLUMN_START, &row->start_ms, start.decimals, err) &&
           check_time(reader, COLUMN_END, &row->end_ms, end.decimals, err);
}

bool row_reader_check_length(const struct row_reader *reader, const struct tt_row *row, struct tt_error *err)
{
    const bool may_be_empty = row_kind_is_point(row->kind) || row->rounding_ms;
    return row->start_ms != row->end_ms || may_be_empty || fail_order(reader, err);
}

/* One row with a full time does not speak against rounding (a person typed it), nor one with a short time for it. */
bool row_times_find_rounding(struct row_reader *reader, struct tt_error *err)
{
    size_t rows = 0, exact = 0;
    struct tt_error ignored = {0};
    for (bool has_row = true;;) {
        if (!tt_csv_next(&reader->csv, &has_row, err))
            return false;
        if (!has_row)
            break;
        struct written start, end;
        bool has_times =
            read_time(reader, COLUMN_START, &start, &ignored) && read_time(reader, COLUMN_END, &end, &ignored);
        rows += has_times;
        exact += has_times && (start.decimals >= 3 || end.decimals >= 3);
    }
    reader->is_rounded = 2 * exact < rows;
    return true;
}
