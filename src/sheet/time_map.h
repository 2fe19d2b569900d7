/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where each part of a take lies in its voice: kept stretches in order, with what stands between them. */
#ifndef TT_SHEET_TIME_MAP_H
#define TT_SHEET_TIME_MAP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"

/* A kept stretch, in samples at the take's rate. Stretch i is followed by fill_samples of made room tone, then by
 * stretch i+1. The join is a crossfade of fade_samples (even) around its middle: half before, half after; with fill,
 * one such fade at each side of it. So rendering reads fade_samples / 2 past source_end, and before the next
 * source_start: that is always inside the take. A fade takes half of either stretch at most, and no more than the fill:
 * fades never meet. */
struct tt_stretch {
    int64_t source_start, source_end; /* end exclusive */
    int64_t out_start;                /* at the take's rate, before resampling */
    int64_t fill_samples;             /* behind it */
    int32_t fade_samples;             /* of the join behind it; 0 for the last, unless fill follows it */
};
/* Where it ends in the voice, without what fills behind it. */
static inline int64_t tt_stretch_out_end(const struct tt_stretch *stretch)
{
    return stretch->out_start + (stretch->source_end - stretch->source_start);
}
struct tt_time_map {
    int rate_hz;
    struct tt_stretch *stretches;
    size_t count;
    int64_t lead_samples;      /* made room tone in front of the first stretch */
    int32_t lead_fade_samples; /* of the join between lead and first stretch; 0 without lead, or where the take begins
                                  there */
    int64_t out_samples;       /* total length */
    int64_t from_sample, to_sample; /* the part of the take that it was made of; to 0: all of it */
};

/* From a sealed sheet: cuts, shortened pauses and opened gaps. Pure: depends on the sheet's rows and on what was heard
 * only: runs (for the length of fades and for snapping gaps into pauses), length, and how the room sounds in pauses
 * (for the place of joins). Shortened pauses lose their middle (at
 * the take's head their beginning, at its tail their end) and keep sounds in them whole or let them go whole; see
 * pause_trim.h, pause_place.h. A gap moves to the middle of the pause that it is in or near (2 s), and where that was
 * cut, to the join. Nothing left is legal: count and out_samples are 0 then. */
bool tt_time_map_build(const struct tt_sheet *sheet, const struct tt_heard *heard, struct tt_time_map *map,
                       struct tt_error *err);
void tt_time_map_free(struct tt_time_map *map);

/* Whether made room tone is put in anywhere. */
bool tt_time_map_has_gaps(const struct tt_time_map *map);
/* Where a sample of the take lands in the voice; -1 when it is gone. */
int64_t tt_time_map_to_out(const struct tt_time_map *map, int64_t source_sample);
/* Where it lands, or where the join lies that stands for it (in front of its fill): for markers. From 0 to out_samples.
 */
int64_t tt_time_map_nearest_out(const struct tt_time_map *map, int64_t source_sample);

/* The first stretch that ends behind a sample of the take; count when none does. */
size_t tt_time_map_first_behind(const struct tt_time_map *map, int64_t sample);
/* How many samples of a part of the take are kept, and where the first and the end of the last land in the voice; 0
 * leaves both as they are. */
int64_t tt_time_map_kept(const struct tt_time_map *map, int64_t start, int64_t end, int64_t *first, int64_t *last);

#endif
