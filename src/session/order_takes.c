/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From the rows of the running order to what is heard one after the other. A take that is named more than once, or that
 * a pick-up opens, is several here: each has its own cut sheet and its own voice, and all of them what was heard of the
 * one recording. */
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/grow.h"
#include "base/text.h"
#include "session/order.h"

/* A part of a file on its way to become a take. */
struct part {
    const struct tt_order_row *row, *piece_row;
    long file;
    int64_t from_ms, to_ms;
    bool joins_before; /* a pick-up's edge: no pause between takes in front of it */
    bool is_pickup;
};
struct parts {
    struct part *all;
    size_t count;
};

static bool add_part(struct parts *parts, struct part part, struct tt_error *err)
{
    struct part *all = tt_grow_by_one(parts->all, parts->count, sizeof *all, err);
    if (!all)
        return false;
    parts->all = all;
    all[parts->count++] = part;
    return true;
}

static bool holds(const struct tt_order_row *row, const struct tt_order_row *pickup)
{
    return row->is_used && !row->is_pickup && row->file >= 0 && row->file == pickup->instead_file &&
           row->from_ms <= pickup->instead_from_ms && (row->to_ms < 0 || row->to_ms >= pickup->instead_to_ms);
}

/* The next pick-up in a row's part from a time on; of several at one place the first in the file. */
static const struct tt_order_row *next_pickup(const struct tt_order *order, const struct tt_order_row *row,
                                              int64_t from_ms)
{
    const struct tt_order_row *next = NULL;
    for (size_t i = 0; i < order->count; i++) {
        const struct tt_order_row *other = &order->rows[i];
        if (other->is_used && other->is_pickup && other->file >= 0 && holds(row, other) &&
            other->instead_from_ms >= from_ms && (!next || other->instead_from_ms < next->instead_from_ms))
            next = other;
    }
    return next;
}

/* A row, opened where pick-ups stand in it. */
static bool add_row(struct parts *parts, const struct tt_order *order, const struct tt_order_row *row,
                    struct tt_error *err)
{
    int64_t at_ms = row->from_ms;
    bool is_behind_pickup = false;
    for (const struct tt_order_row *pickup; (pickup = next_pickup(order, row, at_ms));
         at_ms = pickup->instead_to_ms, is_behind_pickup = true) {
        bool has_before = pickup->instead_from_ms > at_ms;
        if (has_before &&
            !add_part(parts,
                      (struct part){row, row, row->file, at_ms, pickup->instead_from_ms, is_behind_pickup, false}, err))
            return false;
        if (!add_part(parts,
                      (struct part){pickup, row, pickup->file, pickup->from_ms, pickup->to_ms,
                                    has_before || is_behind_pickup, true},
                      err))
            return false;
    }
    return (row->to_ms >= 0 && row->to_ms <= at_ms) ||
           add_part(parts, (struct part){row, row, row->file, at_ms, row->to_ms, is_behind_pickup, false}, err);
}

/* Every pick-up has its place, and no two the same. */
static bool check_pickups(const struct tt_order *order, struct tt_error *err)
{
    for (size_t i = 0; i < order->count; i++) {
        const struct tt_order_row *pickup = &order->rows[i];
        bool has_place = false;
        if (!pickup->is_used || !pickup->is_pickup || pickup->file < 0)
            continue;
        for (size_t j = 0; j < order->count; j++)
            has_place = has_place || holds(&order->rows[j], pickup);
        if (!has_place)
            return tt_order_fail(pickup, TT_ORDER_INSTEAD_OF, err,
                                 "%.80s is not used from %.40s to %.40s; a take can stand in place of a part only "
                                 "where one row uses all of that part",
                                 pickup->cells[TT_ORDER_INSTEAD_OF], pickup->cells[TT_ORDER_INSTEAD_FROM],
                                 pickup->cells[TT_ORDER_INSTEAD_TO]);
        for (size_t j = 0; j < i; j++) {
            const struct tt_order_row *other = &order->rows[j];
            if (other->is_used && other->is_pickup && other->file >= 0 && other->instead_file == pickup->instead_file &&
                other->instead_from_ms < pickup->instead_to_ms && pickup->instead_from_ms < other->instead_to_ms)
                return tt_order_fail(pickup, TT_ORDER_INSTEAD_FROM, err,
                                     "line %d replaces some of this already; change the times of one of them",
                                     other->line);
        }
    }
    return true;
}

static bool collect_parts(const struct tt_order *order, struct parts *parts, struct tt_error *err)
{
    if (!check_pickups(order, err))
        return false;
    for (size_t i = 0; i < order->count; i++) {
        const struct tt_order_row *row = &order->rows[i];
        if (row->file < 0 || (row->is_used && row->is_pickup)) /* pick-ups come with the row that they go into */
            continue;
        if (!(row->is_used ? add_row(parts, order, row, err)
                           : add_part(parts,
                                      (struct part){.row = row,
                                                    .piece_row = row,
                                                    .file = row->file,
                                                    .from_ms = row->from_ms,
                                                    .to_ms = row->to_ms},
                                      err)))
            return false;
    }
    return true;
}

/* ---- names ---- */

/* Of several parts of a file the first that begins with it keeps its name; the others are known by where they begin, so
 * that moving a row moves no sheet to another part. */
static bool keeps_name(const struct parts *parts, size_t i)
{
    size_t count = 0, first = SIZE_MAX;
    for (size_t j = 0; j < parts->count; j++) {
        if (parts->all[j].file != parts->all[i].file)
            continue;
        count++;
        if (first == SIZE_MAX && parts->all[j].from_ms == 0)
            first = j;
    }
    return count == 1 || first == i;
}

static bool is_stem_taken(const struct tt_run_state *run, size_t count, const char *stem)
{
    for (size_t i = 0; i < run->list.count; i++)
        if (strcmp(run->list.files[i].stem, stem) == 0)
            return true;
    for (size_t i = 0; i < count; i++)
        if (run->takes[i].own_file && strcmp(run->takes[i].own_file->stem, stem) == 0)
            return true;
    return false;
}

/* More than anybody needs; each must have a name of its own, or one voice would be written over another. */
enum { MOST_PARTS_FROM_ONE_PLACE = 100 };

static bool name_part(struct tt_run_state *run, size_t count, struct tt_take *take, struct tt_error *err)
{
    char from[TT_TIME_CHARS], dotted[TT_TIME_CHARS];
    tt_time_format(take->from_ms, from);
    memcpy(dotted, from, sizeof dotted);
    for (char *c = dotted; *c; c++)
        if (*c == ':')
            *c = '.';
    struct tt_take_file *own = calloc(1, sizeof *own);
    if (!own)
        return tt_fail_memory(err);
    take->own_file = own;
    own->path = tt_copy_string(take->file->path);
    bool is_free = false;
    for (unsigned n = 1; !is_free && n < MOST_PARTS_FROM_ONE_PLACE; n++) {
        char number[16] = "";
        if (n > 1)
            snprintf(number, sizeof number, ".%u", n);
        free(own->name);
        free(own->stem);
        own->name = tt_format("%s from %s%s", take->file->name, from, number);
        own->stem = tt_format("%s.from-%s%s", take->file->stem, dotted, number);
        if (!own->name || !own->stem)
            break;
        is_free = !is_stem_taken(run, count, own->stem);
    }
    take->file = own;
    if (!own->path || !own->name || !own->stem)
        return tt_fail_memory(err);
    return is_free || tt_fail(err, TT_ERROR_USAGE,
                              "order.csv: more than %d parts of %.80s begin at %s; take some of these rows out",
                              MOST_PARTS_FROM_ONE_PLACE - 1, take->recording->name, from);
}

/* ---- takes ---- */

/* The longest ending of what is written goes behind the stem. Better said before the work than after it. */
static void refuse_long_name(struct tt_run_state *run, struct tt_take *take)
{
    const size_t most = NAME_MAX - (sizeof ".html" - 1);
    struct tt_error error = {0};
    if (strlen(take->file->stem) <= most)
        return;
    tt_fail(&error, TT_ERROR_INPUT,
            "its name is too long for the files that go with it; rename it to at most %zu bytes", most);
    tt_take_fail(run, take, &error);
}

static bool make_take(struct tt_run_state *run, const struct tt_take *of_file, const struct parts *parts, size_t i,
                      struct tt_error *err)
{
    const struct part *part = &parts->all[i];
    struct tt_take *take = &run->takes[i];
    *take = *of_file;
    take->recording = of_file->file;
    take->is_used = part->row->is_used;
    take->order_line = part->row->line;
    take->from_ms = part->from_ms;
    take->to_ms = part->to_ms;
    take->is_pickup = part->is_pickup;
    take->joins_before = part->joins_before;
    snprintf(take->piece, sizeof take->piece, "%s", part->piece_row->cells[TT_ORDER_PIECE]);
    if (part->row->own) {
        if (!(take->own_settings = malloc(sizeof *take->own_settings)))
            return tt_fail_memory(err);
        *take->own_settings = *part->row->own;
    }
    for (size_t j = 0; j < i; j++)
        if (parts->all[j].file == part->file) {
            take->first_of_file = &run->takes[j];
            break;
        }
    if ((!keeps_name(parts, i) && !name_part(run, i, take, err)) || !tt_take_paths(run, take, err))
        return false;
    refuse_long_name(run, take);
    return true;
}

bool tt_order_make_takes(struct tt_run_state *run, const struct tt_order *order, struct tt_error *err)
{
    struct parts parts = {0};
    struct tt_take *of_files = run->takes;
    bool ok = collect_parts(order, &parts, err);
    if (ok) {
        run->takes = calloc(parts.count + 1, sizeof *run->takes);
        run->take_count = 0;
        ok = run->takes || tt_fail_memory(err);
        for (size_t i = 0; ok && i < parts.count; i++) {
            run->take_count = i + 1;
            ok = make_take(run, &of_files[parts.all[i].file], &parts, i, err);
        }
        free(of_files);
    }
    free(parts.all);
    return ok;
}
