/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The running order: OUT/order.csv, proposed by names, obeyed when a person edited it. */
#include "session/order.h"
#include "session/steps.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"

enum { MOST_ORDER_BYTES = 16 << 20 };

static bool read_file(struct tt_run_state *run, const char *path, struct tt_order *order, struct tt_error *err)
{
    char *text = NULL;
    size_t size = 0;
    bool ok = tt_file_read(path, MOST_ORDER_BYTES, &text, &size, err);
    if (!ok && err)
        err->kind = TT_ERROR_USAGE;
    ok = ok && tt_order_read(run, text, size, order, err);
    free(text);
    return ok;
}

bool tt_session_order(struct tt_run_state *run, struct tt_error *err)
{
    char *path = tt_path_join(run->out, "order.csv");
    struct tt_order order = {0};
    size_t added = 0;
    if (!path)
        return tt_fail_memory(err);
    bool is_there = tt_file_exists(path);
    bool ok = (!is_there || read_file(run, path, &order, err)) && tt_order_complete(run, &order, &added, err) &&
              tt_order_make_takes(run, &order, err);
    if (ok && run->is_held && !is_there)
        ok = tt_fail(err, TT_ERROR_USAGE,
                     "order.csv is gone: deliver.hold = yes keeps the order that was handed over; put the file back, "
                     "or set it to no");
    /* A person's file is only touched to add what it lacks. */
    if (ok && !run->is_held && (!is_there || added > 0))
        ok = tt_order_write(&order, path, err);
    ok = ok && (!tt_file_exists(path) || tt_file_sha256(path, run->order_sha256, err));
    tt_order_free(&order);
    free(path);
    return ok;
}

bool tt_session_order_moved(const struct tt_run_state *run)
{
    char *path = tt_path_join(run->out, "order.csv"), now[65] = "";
    bool is_known = path && run->order_sha256[0] && tt_file_exists(path) && tt_file_sha256(path, now, NULL);
    free(path);
    return is_known && strcmp(now, run->order_sha256) != 0;
}
