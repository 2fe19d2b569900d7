/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What goes of a take, and where gaps open: a sheet's rows as samples, for the time map. */
#ifndef TT_SHEET_LAYOUT_H
#define TT_SHEET_LAYOUT_H

#include "sheet/heard.h"
#include "sheet/pause_trim.h"
#include "sheet/sheet.h"
#include "sheet/take_times.h"

struct gap_place {
    int64_t sample, fill_samples;
    size_t row;
};

struct layout {
    bool has_cuts;
    int64_t from, to; /* the part of the take that is used */
    const struct tt_sheet *sheet;
    struct take_times times;
    struct part *gone; /* rising, merged */
    size_t gone_count;
    struct pause_sound *sounds; /* that stay, rising by start */
    size_t sound_count;
    struct gap_place *gaps; /* rising */
    size_t gap_count;
};

/* To be freed in any case. */
bool layout_make(struct layout *layout, const struct tt_sheet *sheet, const struct tt_heard *heard,
                 struct tt_error *err);
void layout_free(struct layout *layout);

#endif
