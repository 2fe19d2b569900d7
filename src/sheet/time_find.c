/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Looking up places of a take in its time map. */
#include "sheet/time_map.h"

/* How many stretches begin at or before a sample of the take. */
static size_t count_until(const struct tt_time_map *map, int64_t sample)
{
    size_t low = 0, high = map->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (map->stretches[middle].source_start <= sample)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

int64_t tt_time_map_to_out(const struct tt_time_map *map, int64_t source_sample)
{
    size_t count = count_until(map, source_sample);
    if (count == 0)
        return -1;
    const struct tt_stretch *stretch = &map->stretches[count - 1];
    return source_sample < stretch->source_end ? stretch->out_start + (source_sample - stretch->source_start) : -1;
}

int64_t tt_time_map_nearest_out(const struct tt_time_map *map, int64_t source_sample)
{
    size_t count = count_until(map, source_sample);
    if (count == 0)
        return map->count ? map->stretches[0].out_start : 0;
    const struct tt_stretch *stretch = &map->stretches[count - 1];
    return source_sample < stretch->source_end ? stretch->out_start + (source_sample - stretch->source_start)
                                               : tt_stretch_out_end(stretch);
}

size_t tt_time_map_first_behind(const struct tt_time_map *map, int64_t sample)
{
    const size_t count = count_until(map, sample);
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
