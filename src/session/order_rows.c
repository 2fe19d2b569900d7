/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/order.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/grow.h"
#include "base/text.h"
#include "session/clean_names.h"
#include "sheet/csv.h"

static const char *const column_names[TT_ORDER_COLUMNS] = {
    "take", "use", "piece", "channel", "room_tone", "from", "to", "note", "instead_of", "instead_from", "instead_to"};
static const bool is_needed[TT_ORDER_COLUMNS] = {[TT_ORDER_TAKE] = true};

bool tt_order_fail(const struct tt_order_row *row, enum tt_order_column column, struct tt_error *err,
                   const char *format, ...)
{
    char message[400];
    va_list args;
    va_start(args, format);
    vsnprintf(message, sizeof message, format, args);
    va_end(args);
    return tt_fail(err, TT_ERROR_USAGE, "order.csv:%d:%d: %s", row->line,
                   (row->column_of[column] < 0 ? 0 : row->column_of[column]) + 1, message);
}

static void free_row(struct tt_order_row *row)
{
    for (int c = 0; c < TT_ORDER_COLUMNS; c++)
        free(row->cells[c]);
    free(row->own);
}

void tt_order_free(struct tt_order *order)
{
    for (size_t i = 0; i < order->count; i++)
        free_row(&order->rows[i]);
    free(order->rows);
    *order = (struct tt_order){0};
}

/* ---- one row ---- */

static bool same_word(const char *a, const char *b)
{
    for (; *a && *b; a++, b++)
        if ((*a | 32) != *b)
            return false;
    return *a == *b;
}

/* Names that are no UTF-8 may read alike in a CSV: the first of them that has no row yet. -1: not there. */
static long find_file(const struct tt_order *order, const struct tt_clean_names *names, const char *name)
{
    long found = -1;
    for (size_t i = tt_clean_names_find(names, name); i < names->count && strcmp(names->all[i].clean, name) == 0; i++) {
        found = (long)names->all[i].file;
        if (!tt_order_names(order, names->all[i].file))
            break;
    }
    return found;
}

static bool read_time(const struct tt_order_row *row, enum tt_order_column column, int64_t *ms, struct tt_error *err)
{
    const char *text = row->cells[column];
    return !text[0] || tt_time_parse(text, ms, NULL) ||
           tt_order_fail(row, column, err, "'%.60s' is no time; write it as 00:12:30.500, or leave the cell empty",
                         text);
}

static bool read_times(struct tt_order_row *row, struct tt_error *err)
{
    row->to_ms = -1;
    if (!read_time(row, TT_ORDER_FROM, &row->from_ms, err) || !read_time(row, TT_ORDER_TO, &row->to_ms, err))
        return false;
    return row->to_ms < 0 || row->to_ms > row->from_ms ||
           tt_order_fail(row, TT_ORDER_TO, err, "'%.60s': 'to' must lie behind 'from'", row->cells[TT_ORDER_TO]);
}

static bool read_pickup(struct tt_run_state *run, const struct tt_order *order, const struct tt_clean_names *names,
                        struct tt_order_row *row, struct tt_error *err)
{
    row->is_pickup = row->cells[TT_ORDER_INSTEAD_OF][0] != '\0';
    row->instead_file = -1;
    for (enum tt_order_column c = TT_ORDER_INSTEAD_OF; c <= TT_ORDER_INSTEAD_TO; c++)
        if (!row->cells[c][0] != !row->is_pickup)
            return tt_order_fail(row, c, err,
                                 "instead_of, instead_from and instead_to go together: the take, and which part of it "
                                 "this one replaces; fill in all three or none");
    if (!row->is_pickup)
        return true;
    row->instead_file = find_file(order, names, row->cells[TT_ORDER_INSTEAD_OF]);
    if (row->instead_file < 0) {
        const char *nearest = tt_order_nearest_take(run, NULL, row->cells[TT_ORDER_INSTEAD_OF]);
        return tt_order_fail(row, TT_ORDER_INSTEAD_OF, err, "'%.80s' is not in the folder%s%.80s%s",
                             row->cells[TT_ORDER_INSTEAD_OF],
                             nearest ? "; did you mean " : "; copy it there, or correct the name",
                             nearest ? nearest : "", nearest ? "?" : "");
    }
    if (row->instead_file == row->file)
        return tt_order_fail(row, TT_ORDER_INSTEAD_OF, err,
                             "a take cannot stand in place of itself; name the other one");
    if (!read_time(row, TT_ORDER_INSTEAD_FROM, &row->instead_from_ms, err) ||
        !read_time(row, TT_ORDER_INSTEAD_TO, &row->instead_to_ms, err))
        return false;
    return row->instead_to_ms > row->instead_from_ms ||
           tt_order_fail(row, TT_ORDER_INSTEAD_TO, err, "'%.60s': 'instead_to' must lie behind 'instead_from'",
                         row->cells[TT_ORDER_INSTEAD_TO]);
}

/* Channel and room tone are read as the settings of the same names are; a room tone's path begins at the session's
 * folder. */
static bool read_own_settings(const struct tt_run_state *run, struct tt_order_row *row, struct tt_error *err)
{
    static const struct {
        enum tt_order_column column;
        const char *section, *key;
    } known[] = {{TT_ORDER_CHANNEL, "take", "channel"}, {TT_ORDER_ROOM_TONE, "floor", "room_tone"}};
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        const char *value = row->cells[known[i].column];
        char origin[64], *path = NULL;
        if (!value[0])
            continue;
        if (!row->own) {
            if (!(row->own = malloc(sizeof *row->own)))
                return tt_fail_memory(err);
            *row->own = run->settings;
        }
        if (known[i].column == TT_ORDER_ROOM_TONE && value[0] != '/' && strcmp(value, "auto") != 0 &&
            !(path = tt_path_join(run->list.folder, value)))
            return tt_fail_memory(err);
        snprintf(origin, sizeof origin, "order.csv:%d:%d", row->line, row->column_of[known[i].column] + 1);
        bool ok = tt_settings_set(row->own, known[i].section, known[i].key, path ? path : value, origin, NULL, err);
        if (ok && path && !tt_file_exists(path))
            ok = tt_order_fail(row, known[i].column, err,
                               "'%.100s': no such sound file in the session's folder; copy it there, or write auto",
                               value);
        free(path);
        if (!ok)
            return false;
    }
    return true;
}

/* What is written later reads back as it is: an order that we wrote must not be refused. */
static bool is_clean(const char *text)
{
    char *clean = tt_csv_clean(text);
    bool is_same = clean && strcmp(clean, text) == 0;
    free(clean);
    return is_same;
}

static bool check_row(struct tt_run_state *run, const struct tt_order *order, const struct tt_clean_names *names,
                      struct tt_order_row *row, struct tt_error *err)
{
    const char *use = row->cells[TT_ORDER_USE], *piece = row->cells[TT_ORDER_PIECE];
    row->is_used = !same_word(use, "no");
    if (row->is_used && use[0] && !same_word(use, "yes"))
        return tt_order_fail(row, TT_ORDER_USE, err, "'%.60s': must be yes or no", use);
    if (strchr(piece, '/') || piece[0] == '.' || !is_clean(piece) || strlen(piece) >= sizeof run->takes->piece)
        return tt_order_fail(row, TT_ORDER_PIECE, err,
                             "'%.100s': a piece becomes a file's name: at most %zu bytes, no '/', no '.' in front, no "
                             "control characters",
                             piece, sizeof run->takes->piece - 1);
    return read_times(row, err) && read_own_settings(run, row, err) &&
           (!row->is_used || read_pickup(run, order, names, row, err));
}

/* The same part of the same take twice is a row that was copied and not changed. */
static bool check_twice(const struct tt_order *order, const struct tt_order_row *row, struct tt_error *err)
{
    for (size_t i = 0; i < order->count; i++) {
        const struct tt_order_row *other = &order->rows[i];
        if (row->file >= 0 && other->file == row->file && other->from_ms == row->from_ms && other->to_ms == row->to_ms)
            return tt_order_fail(
                row, TT_ORDER_TAKE, err,
                "this take is named twice (line %d); parts of one take need a different 'from' and 'to' each",
                other->line);
    }
    return true;
}

static struct tt_order_row *grow(struct tt_order *order, struct tt_error *err)
{
    struct tt_order_row *rows = tt_grow_by_one(order->rows, order->count, sizeof *rows, err);
    if (!rows)
        return NULL;
    order->rows = rows;
    rows[order->count] = (struct tt_order_row){.file = -1, .instead_file = -1, .is_used = true, .to_ms = -1};
    return &rows[order->count];
}

static bool read_row(struct tt_run_state *run, struct tt_order *order, const struct tt_clean_names *names,
                     const struct tt_csv *csv, const int *columns, struct tt_error *err)
{
    struct tt_order_row *row = grow(order, err);
    bool ok = row != NULL;
    for (int c = 0; ok && c < TT_ORDER_COLUMNS; c++) {
        row->cells[c] = tt_copy_string(tt_csv_text(csv, columns[c]));
        row->column_of[c] = columns[c];
        ok = row->cells[c] || tt_fail_memory(err);
    }
    if (ok) {
        row->line = csv->cell_count ? csv->cells[0].line : csv->line;
        row->file = find_file(order, names, row->cells[TT_ORDER_TAKE]);
        ok = check_row(run, order, names, row, err) && check_twice(order, row, err);
    }
    if (row)
        order->count++; /* to be freed with the others, also when it failed */
    return ok;
}

bool tt_order_read(struct tt_run_state *run, const char *text, size_t size, struct tt_order *order,
                   struct tt_error *err)
{
    struct tt_csv csv;
    struct tt_clean_names names;
    int columns[TT_ORDER_COLUMNS];
    if (!tt_clean_names_open(&run->list, &names, err))
        return false;
    if (!tt_csv_open(&csv, "order.csv", text, size, err)) {
        tt_clean_names_free(&names);
        return false;
    }
    bool ok = tt_csv_read_header(&csv, column_names, is_needed, TT_ORDER_COLUMNS, columns, err), has_row = true;
    while (ok && (ok = tt_csv_next(&csv, &has_row, err)) && has_row)
        ok = read_row(run, order, &names, &csv, columns, err);
    tt_csv_close(&csv);
    tt_clean_names_free(&names);
    if (ok)
        tt_order_tell_missing(run, order);
    if (!ok && err && err->kind == TT_ERROR_INPUT)
        err->kind = TT_ERROR_USAGE;
    return ok;
}

static bool insert_file(struct tt_run_state *run, struct tt_order *order, size_t file, struct tt_error *err)
{
    size_t place = 0;
    for (size_t i = 0; file > 0 && i < order->count;
         i++) /* behind the take with the next smaller name, which has its place already */
        if (order->rows[i].file == (long)file - 1)
            place = i + 1;
    struct tt_order_row *row = grow(order, err);
    if (!row)
        return false;
    row->file = (long)file;
    for (int c = 0; c < TT_ORDER_COLUMNS; c++)
        row->cells[c] = tt_copy_string(c == TT_ORDER_TAKE  ? run->list.files[file].name
                                       : c == TT_ORDER_USE ? "yes"
                                                           : "");
    struct tt_order_row added = *row;
    memmove(order->rows + place + 1, order->rows + place, (order->count - place) * sizeof *order->rows);
    order->rows[place] = added;
    order->count++;
    for (int c = 0; c < TT_ORDER_COLUMNS; c++)
        if (!added.cells[c])
            return tt_fail_memory(err);
    return true;
}

bool tt_order_complete(struct tt_run_state *run, struct tt_order *order, size_t *added, struct tt_error *err)
{
    *added = 0;
    for (size_t i = 0; i < run->list.count; i++)
        if (!tt_order_names(order, i)) {
            if (!insert_file(run, order, i, err))
                return false;
            ++*added;
        }
    return true;
}

bool tt_order_write(const struct tt_order *order, const char *path, struct tt_error *err)
{
    struct tt_text text = {0};
    for (int c = 0; c < TT_ORDER_COLUMNS; c++)
        tt_csv_add(&text, column_names[c], c == TT_ORDER_COLUMNS - 1);
    for (size_t i = 0; i < order->count; i++)
        for (int c = 0; c < TT_ORDER_COLUMNS; c++)
            tt_csv_add(&text, order->rows[i].cells[c], c == TT_ORDER_COLUMNS - 1);
    bool ok = text.has_failed ? tt_fail_memory(err) : tt_file_write(path, text.data, text.length, err);
    tt_text_free(&text);
    return ok;
}
