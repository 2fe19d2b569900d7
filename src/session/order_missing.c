/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rows of the running order whose takes this run does not have. */
#include <stdlib.h>

#include "base/text.h"
#include "session/folders.h"
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
