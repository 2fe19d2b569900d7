/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where the rows of a cut sheet land in the voice. */
#ifndef TT_SHEET_LANDING_H
#define TT_SHEET_LANDING_H

#include <stdbool.h>
#include <stdint.h>

#include "sheet/sheet.h"
#include "sheet/time_map.h"

/* In samples at the take's rate, before resampling. What is gone has is_in false; start and end are then the join that
 * stands for it. */
struct tt_landing {
    bool is_in;
    int64_t start, end;
};

/* The first to the last kept sample of the row; of an opened gap the made room tone; of a point where it is. A row that
 * is cut is gone, though joins lie a few milliseconds beside its times; so is one of which no more than that is left.
 */
struct tt_landing tt_landing_of_row(const struct tt_row *row, const struct tt_time_map *map);

#endif
