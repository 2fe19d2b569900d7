/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The rows of OUT/order.csv: read, checked, written again. */
#ifndef TT_SESSION_ORDER_H
#define TT_SESSION_ORDER_H

#include "session/run.h"

enum tt_order_column {
    TT_ORDER_TAKE,
    TT_ORDER_USE,
    TT_ORDER_PIECE,
    TT_ORDER_CHANNEL,
    TT_ORDER_ROOM_TONE,
    TT_ORDER_FROM,
    TT_ORDER_TO,
    TT_ORDER_NOTE,
    TT_ORDER_INSTEAD_OF,
    TT_ORDER_INSTEAD_FROM,
    TT_ORDER_INSTEAD_TO,
    TT_ORDER_COLUMNS
};

struct tt_order_row {
    char *cells[TT_ORDER_COLUMNS];         /* as they were read */
    int line, column_of[TT_ORDER_COLUMNS]; /* place in the file, for errors; line 0: not from a file */
    long file;                             /* of the list of takes; -1: not in the folder */
    bool is_used;
    int64_t from_ms, to_ms; /* to -1: to the end */
    bool is_pickup;         /* stands in place of a part of another take: */
    long instead_file;
    int64_t instead_from_ms, instead_to_ms;
    struct tt_settings *own; /* channel or room tone of this row; NULL: the session's */
};
struct tt_order {
    struct tt_order_row *rows; /* running order */
    size_t count;
};

/* Fails with file, line and column. Rows of takes that are not in the folder are told and wait. */
bool tt_order_read(struct tt_run_state *run, const char *text, size_t size, struct tt_order *order,
                   struct tt_error *err);
/* A row for each take that has none, where its name sorts. *added tells how many. */
bool tt_order_complete(struct tt_run_state *run, struct tt_order *order, size_t *added, struct tt_error *err);
bool tt_order_write(const struct tt_order *order, const char *path, struct tt_error *err);
bool tt_order_fail(const struct tt_order_row *row, enum tt_order_column column, struct tt_error *err,
                   const char *format, ...) TT_PRINTF(4, 5);
void tt_order_free(struct tt_order *order); /* after a failure, too */

/* order_missing.c */
bool tt_order_names(const struct tt_order *order, size_t file);
/* Takes that have a row in without (NULL: none) are not meant: 02.wav is gone, and 03.wav is itself. NULL: none. */
const char *tt_order_nearest_take(const struct tt_run_state *run, const struct tt_order *without, const char *name);
/* Rows of takes that this run does not have: they are gone, misspelt, or were not named on the command line. */
void tt_order_tell_missing(struct tt_run_state *run, const struct tt_order *order);

/* order_takes.c: one take for each row that plays, with pick-ups in their places, in place of run->takes (one for each
 * file). */
bool tt_order_make_takes(struct tt_run_state *run, const struct tt_order *order, struct tt_error *err);

#endif
