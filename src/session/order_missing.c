/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rows of the running order without a take, and takes without a row. */
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "session/order.h"

bool tt_order_names(const struct tt_order *order, size_t file)
{
    for (size_t i = 0; i < order->count; i++)
        if (order->rows[i].file == (long)file)
            return true;
    return false;
}

const char *tt_order_nearest_take(const struct tt_run_state *run, const struct tt_order *without, const char *name)
{
    const char **known = calloc(run->list.count + 1, sizeof *known);
    size_t count = 0;
    for (size_t i = 0; known && i < run->list.count; i++)
        if (!without || !tt_order_names(without, i))
            known[count++] = run->list.files[i].name;
    const char *nearest = known ? tt_nearest_name(name, known, count) : NULL;
    free(known);
    return nearest;
}

/* A row for a take that is not in the folder: gone, or its name misspelt. It waits for its return, and is told. */
static void tell_missing(struct tt_run_state *run, const struct tt_order *order, const char *name)
{
    const char *nearest = tt_order_nearest_take(run, order, name);
    tt_run_warn(run, "order", "order.csv names '%.80s', which is not in the folder%s%.80s%s", name,
                nearest ? "; did you mean " : "; take its row out if it is gone for good", nearest ? nearest : "",
                nearest ? "?" : "");
}

void tt_order_tell_missing(struct tt_run_state *run, const struct tt_order *order)
{
    size_t left_out = 0;
    for (size_t i = 0; i < order->count; i++) {
        const struct tt_order_row *row = &order->rows[i];
        const char *name = row->cells[TT_ORDER_TAKE];
        if (row->file >= 0)
            continue;
        if (run->list.is_chosen && tt_folder_holds(run->list.folder, name))
            left_out += row->is_used;
        else
            tell_missing(run, order, name);
    }
    if (left_out > 0)
        tt_run_warn(run, "takes-chosen",
                    "only some takes of the session were named: %zu more, which order.csv uses, %s not in this "
                    "narration; to have all of them, name the folder instead: %s",
                    left_out, left_out == 1 ? "is" : "are", run->list.folder);
}

static bool insert_file(struct tt_run_state *run, struct tt_order *order, size_t file, struct tt_error *err)
{
    size_t place = 0;
    for (size_t i = 0; file > 0 && i < order->count;
         i++) /* behind the take with the next smaller name, which has its place already */
        if (order->rows[i].file == (long)file - 1)
            place = i + 1;
    struct tt_order_row *row = tt_order_grow(order, err);
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
