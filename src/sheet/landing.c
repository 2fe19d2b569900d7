/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/landing.h"

#include <math.h>
#include <stdlib.h>

#include "base/units.h"

/* Joins are looked for within a few milliseconds of a row's times: less than this left of it is the join, not the row.
 */
static const double join_most_ms = 20;

/* Where stretch `index` begins, or the voice ends. */
static int64_t join_before(const struct tt_time_map *map, size_t index)
{
    return index < map->count ? map->stretches[index].out_start : map->out_samples;
}

static struct tt_landing land_span(const struct tt_time_map *map, int64_t start, int64_t end)
{
    const int64_t join = join_before(map, tt_time_map_first_behind(map, start));
    struct tt_landing landing = {false, join, join};
    const int64_t kept = tt_time_map_kept(map, start, end, &landing.start, &landing.end);
    landing.is_in = kept > 0 && (kept >= tt_frames_from_ms(join_most_ms, map->rate_hz) || 2 * kept >= end - start);
    return landing;
}

static struct tt_landing land_point(const struct tt_time_map *map, int64_t sample)
{
    size_t index = tt_time_map_first_behind(map, sample);
    struct tt_landing landing = {false, join_before(map, index), join_before(map, index)};
    if (index < map->count && map->stretches[index].source_start <= sample) {
        landing.is_in = true;
        landing.start += sample - map->stretches[index].source_start;
    } else if (index == map->count && index > 0 && map->stretches[index - 1].source_end == sample) {
        landing.is_in = true; /* the take's very end */
    }
    landing.end = landing.start;
    return landing;
}

/* A gap is moved into the nearest pause: it is the nearest stretch of made room tone that is long enough. */
static struct tt_landing land_gap(const struct tt_time_map *map, int64_t sample, double amount_s)
{
    int64_t wanted =
        isnan(amount_s) ? 1 : (int64_t)llround(amount_s * map->rate_hz) - tt_frames_from_ms(join_most_ms, map->rate_hz);
    if (wanted < 1)
        wanted = 1;
    struct tt_landing landing = land_point(map, sample);
    int64_t nearest = INT64_MAX;
    if (map->count > 0 && map->lead_samples >= wanted) {
        nearest = llabs(map->stretches[0].source_start - sample);
        landing = (struct tt_landing){true, 0, map->lead_samples};
    }
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        int64_t distance = llabs(stretch->source_end - sample);
        if (stretch->fill_samples < wanted || distance >= nearest)
            continue;
        nearest = distance;
        landing =
            (struct tt_landing){true, tt_stretch_out_end(stretch), tt_stretch_out_end(stretch) + stretch->fill_samples};
    }
    return landing;
}

struct tt_landing tt_landing_of_row(const struct tt_row *row, const struct tt_time_map *map)
{
    int64_t start = tt_frames_from_ms((double)row->start_ms, map->rate_hz),
            end = tt_frames_from_ms((double)row->end_ms, map->rate_hz);
    if (row->kind == TT_ROW_GAP && row->action == TT_DO_OPEN)
        return land_gap(map, start, row->amount);
    struct tt_landing landing = end > start ? land_span(map, start, end) : land_point(map, start);
    if (row->action == TT_DO_CUT)
        landing.is_in = false;
    if (!landing.is_in)
        landing.end = landing.start;
    return landing;
}
