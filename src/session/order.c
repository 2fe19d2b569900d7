/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The running order: OUT/order.csv, proposed by names, obeyed when a person edited it. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "session/session.h"
#include "sheet/csv.h"

enum column { COLUMN_TAKE, COLUMN_USE, COLUMN_PIECE, COLUMN_CHANNEL, COLUMN_ROOM_TONE, COLUMN_FROM, COLUMN_TO, COLUMN_NOTE, COLUMNS };
static const char *const column_names[COLUMNS] = {"take", "use", "piece", "channel", "room_tone", "from", "to", "note"};
static const bool is_needed[COLUMNS] = {[COLUMN_TAKE] = true};

enum { MOST_ORDER_BYTES = 16 << 20 };

/* Names that are no UTF-8 may read alike in a CSV: the first of them that has no place yet. */
static bool find_take(struct tt_run_state *run, const char *name, struct tt_take **found, struct tt_error *err)
{
    *found = NULL;
    for (size_t i = 0; i < run->take_count; i++) {
        char *clean = tt_csv_clean(run->takes[i].file->name);
        if (!clean)
            return tt_fail_memory(err);
        bool is_it = strcmp(clean, name) == 0;
        free(clean);
        if (is_it)
            *found = &run->takes[i];
        if (is_it && run->takes[i].clock_order == 0)
            return true;
    }
    return true;
}

static bool same_word(const char *a, const char *b)
{
    for (; *a && *b; a++, b++)
        if ((*a | 32) != *b)
            return false;
    return *a == *b;
}

/* A row for a take that is not in the folder: gone, or its name misspelt. It waits for its return, and is told. */
static bool pass_over(struct tt_run_state *run, const char *name)
{
    const char **known = calloc(run->take_count + 1, sizeof *known);
    for (size_t i = 0; known && i < run->take_count; i++)
        known[i] = run->takes[i].file->name;
    const char *nearest = known ? tt_nearest_name(name, known, run->take_count) : NULL;
    tt_run_warn(run, "order", "order.csv names '%.80s', which is not in the folder%s%.80s%s", name, nearest ? "; did you mean " : "", nearest ? nearest : "",
                nearest ? "?" : "");
    free(known);
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

/* One row. */
static bool read_row(struct tt_run_state *run, struct tt_csv *csv, const int *columns, double place, size_t *passed_over, struct tt_error *err)
{
    const char *name = tt_csv_text(csv, columns[COLUMN_TAKE]);
    struct tt_take *take;
    if (!find_take(run, name, &take, err))
        return false;
    if (!take) {
        ++*passed_over;
        return pass_over(run, name);
    }
    if (take->clock_order > 0)
        return tt_csv_fail(csv, columns[COLUMN_TAKE], err, "this take is named twice");
    const char *use = tt_csv_text(csv, columns[COLUMN_USE]), *piece = tt_csv_text(csv, columns[COLUMN_PIECE]);
    if (same_word(use, "no"))
        take->is_used = false;
    else if (use[0] && !same_word(use, "yes"))
        return tt_csv_fail(csv, columns[COLUMN_USE], err, "'%s': must be yes or no", use);
    if (strchr(piece, '/') || piece[0] == '.' || !is_clean(piece) || strlen(piece) >= sizeof take->piece)
        return tt_csv_fail(csv, columns[COLUMN_PIECE], err, "'%s': a piece becomes a file's name: at most %zu bytes, no '/', no '.' in front, no control characters", piece,
                           sizeof take->piece - 1);
    for (enum column c = COLUMN_CHANNEL; c <= COLUMN_TO; c++)
        if (tt_csv_text(csv, columns[c])[0])
            return tt_csv_fail(csv, columns[c], err, "'%s' cannot be set for a single take yet; leave the cell empty", column_names[c]);
    snprintf(take->piece, sizeof take->piece, "%s", piece);
    take->clock_order = place;
    return true;
}

static bool read_order(struct tt_run_state *run, const char *text, size_t size, size_t *passed_over, struct tt_error *err)
{
    struct tt_csv csv;
    int columns[COLUMNS];
    if (!tt_csv_open(&csv, "order.csv", text, size, err))
        return false;
    bool ok = tt_csv_read_header(&csv, column_names, is_needed, COLUMNS, columns, err), has_row = true;
    double place = 0;
    while (ok && (ok = tt_csv_next(&csv, &has_row, err)) && has_row)
        ok = read_row(run, &csv, columns, ++place, passed_over, err);
    tt_csv_close(&csv);
    return ok;
}

/* New takes go where their name sorts: behind the last take of the list with a smaller name. takes[] is in natural order of names here. */
static void place_new_takes(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (take->clock_order > 0)
            continue;
        double before = i > 0 ? run->takes[i - 1].clock_order : 0, next = HUGE_VAL;
        for (size_t j = 0; j < run->take_count; j++)
            if (run->takes[j].clock_order > before && run->takes[j].clock_order < next)
                next = run->takes[j].clock_order;
        take->clock_order = isinf(next) ? before + 1 : 0.5 * (before + next);
    }
}

static int by_order(const void *a, const void *b)
{
    double x = ((const struct tt_take *)a)->clock_order, y = ((const struct tt_take *)b)->clock_order;
    return x < y ? -1 : x > y;
}

static bool write_order(struct tt_run_state *run, const char *path, struct tt_error *err)
{
    struct tt_text text = {0};
    for (int c = 0; c < COLUMNS; c++)
        tt_csv_add(&text, column_names[c], c == COLUMNS - 1);
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        for (int c = 0; c < COLUMNS; c++)
            tt_csv_add(&text, c == COLUMN_TAKE ? take->file->name : c == COLUMN_USE ? (take->is_used ? "yes" : "no") : c == COLUMN_PIECE ? take->piece : "",
                       c == COLUMNS - 1);
    }
    bool ok = text.has_failed ? tt_fail_memory(err) : tt_file_write(path, text.data, text.length, err);
    tt_text_free(&text);
    return ok;
}

bool tt_session_order(struct tt_run_state *run, struct tt_error *err)
{
    char *path = tt_path_join(run->out, "order.csv"), *text = NULL;
    size_t size = 0, known = 0, passed_over = 0;
    if (!path)
        return tt_fail_memory(err);
    bool is_there = tt_file_exists(path);
    bool ok = !is_there || (tt_file_read(path, MOST_ORDER_BYTES, &text, &size, err) && read_order(run, text, size, &passed_over, err));
    if (!ok && err)
        err->kind = TT_ERROR_USAGE;
    for (size_t i = 0; i < run->take_count; i++)
        known += run->takes[i].clock_order > 0;
    if (ok) {
        place_new_takes(run);
        qsort(run->takes, run->take_count, sizeof *run->takes, by_order);
    }
    /* A person's file is only touched to add what it lacks. */
    if (ok && run->is_held && !is_there)
        ok = tt_fail(err, TT_ERROR_USAGE, "order.csv is gone: deliver.hold = yes keeps the order that was handed over; put the file back, or set it to no");
    if (ok && !run->is_held && (!is_there || (known < run->take_count && passed_over == 0)))
        ok = write_order(run, path, err);
    free(text);
    free(path);
    return ok;
}
