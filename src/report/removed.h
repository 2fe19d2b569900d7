/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is really gone from a take, by the kind of decision that took it. */
#ifndef TT_REPORT_REMOVED_H
#define TT_REPORT_REMOVED_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "sheet/sheet.h"
#include "sheet/time_map.h"

struct tt_removed {
    double seconds; /* everything that is not in the voice */
    struct {
        size_t count;
        double seconds;
    } by_kind[TT_ROW_KINDS]; /* rows that take something out; what they took */
};

/* Where rows overlap, what is gone counts once: for the misread rather than for the pause in it. What joins took beside
 * a row's times counts in `seconds` only. */
bool tt_removed_measure(const struct tt_sheet *sheet, const struct tt_time_map *map, int64_t frame_count,
                        struct tt_removed *removed, struct tt_error *err);

/* Whether the row in force takes something out; *span is what (of `choose` the reading that replaced it). */
bool tt_row_removes(const struct tt_row *row, struct tt_span *span);

#endif
