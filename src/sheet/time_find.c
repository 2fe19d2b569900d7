/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Looking up places in a time map, both ways. */
#include "sheet/time_map.h"

static int64_t in_source(const struct tt_stretch *stretch) { return stretch->source_start; }
static int64_t in_out(const struct tt_stretch *stretch) { return stretch->out_start; }

/* How many stretches begin at or before a sample, of the take or of the voice. */
static size_t count_until(const struct tt_time_map *map, int64_t sample,
                          int64_t (*start_of)(const struct tt_stretch *stretch))
{
    size_t low = 0, high = map->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (start_of(&map->stretches[middle]) <= sample)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

int64_t tt_time_map_to_out(const struct tt_time_map *map, int64_t source_sample)
{
    size_t count = count_until(map, source_sample, in_source);
    if (count == 0)
        return -1;
    const struct tt_stretch *stretch = &map->stretches[count - 1];
    return source_sample < stretch->source_end ? stretch->out_start + (source_sample - stretch->source_start) : -1;
}

int64_t tt_time_map_nearest_out(const struct tt_time_map *map, int64_t source_sample)
{
    size_t count = count_until(map, source_sample, in_source);
    if (count == 0)
        return map->count ? map->stretches[0].out_start : 0;
    const struct tt_stretch *stretch = &map->stretches[count - 1];
    return source_sample < stretch->source_end ? stretch->out_start + (source_sample - stretch->source_start)
                                               : tt_stretch_out_end(stretch);
}

int64_t tt_time_map_to_source(const struct tt_time_map *map, int64_t out_sample, int64_t *before)
{
    size_t count = count_until(map, out_sample, in_out);
    const struct tt_stretch *stretch = count ? &map->stretches[count - 1] : NULL;
    bool is_heard = stretch && out_sample < tt_stretch_out_end(stretch);
    int64_t source = is_heard ? stretch->source_start + (out_sample - stretch->out_start) : -1;
    if (before)
        *before = is_heard     ? source
                  : stretch    ? stretch->source_end - 1
                  : map->count ? map->stretches[0].source_start - 1
                               : -1;
    return source;
}

size_t tt_time_map_first_behind(const struct tt_time_map *map, int64_t sample)
{
    const size_t count = count_until(map, sample, in_source);
    return count > 0 && map->stretches[count - 1].source_end > sample ? count - 1 : count;
}

int64_t tt_time_map_kept(const struct tt_time_map *map, int64_t start, int64_t end, int64_t *first, int64_t *last)
{
    int64_t kept = 0;
    for (size_t i = tt_time_map_first_behind(map, start); i < map->count && map->stretches[i].source_start < end; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        const int64_t from = stretch->source_start > start ? stretch->source_start : start,
                      to = stretch->source_end < end ? stretch->source_end : end;
        if (kept == 0)
            *first = stretch->out_start + (from - stretch->source_start);
        *last = stretch->out_start + (to - stretch->source_start);
        kept += to - from;
    }
    return kept;
}
