/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Laying out a voice: what goes, what stays, where room tone comes in between, and how the joins are faded. */
#include "sheet/time_map.h"

#include <stdlib.h>

#include "base/least.h"
#include "base/units.h"
#include "sheet/layout.h"

/* Common practice, no source: fades of tens of ms are not heard in room tone, 3 ms is the least that does not click. */
enum { FADE_MOST_MS = 40, FADE_LEAST_MS = 3, STRETCH_LEAST_MS = 10 };

static void add_fill(struct tt_time_map *map, int64_t fill_samples)
{
    if (map->count)
        map->stretches[map->count - 1].fill_samples += fill_samples;
    else
        map->lead_samples += fill_samples;
}

/* A kept part, split where gaps open in it. Gaps that were in front of it, or would leave too little, lie at its join.
 */
static void add_part(struct tt_time_map *map, const struct layout *layout, struct part part, size_t *gap)
{
    int64_t shortest = tt_frames_from_ms(STRETCH_LEAST_MS, map->rate_hz);
    bool is_whole_take =
        !layout->has_cuts && part.start == layout->from && part.end == layout->to; /* however short: nobody cut it */
    if (part.end <= part.start || (part.end - part.start < shortest && !is_whole_take))
        return;
    for (; *gap < layout->gap_count && layout->gaps[*gap].sample < part.end; ++*gap) {
        int64_t at = layout->gaps[*gap].sample;
        if (part.end - at < shortest)
            break;
        if (at - part.start >= shortest) {
            map->stretches[map->count++] = (struct tt_stretch){.source_start = part.start, .source_end = at};
            part.start = at;
        }
        add_fill(map, layout->gaps[*gap].fill_samples);
    }
    map->stretches[map->count++] = (struct tt_stretch){.source_start = part.start, .source_end = part.end};
}

static void lay_out(struct tt_time_map *map, const struct layout *layout)
{
    size_t gap = 0;
    int64_t at = layout->from;
    for (size_t i = 0; i <= layout->gone_count; i++) {
        bool is_last = i == layout->gone_count || layout->gone[i].start >= layout->to;
        add_part(map, layout, (struct part){at, is_last ? layout->to : layout->gone[i].start}, &gap);
        if (is_last)
            break;
        if (layout->gone[i].end > at)
            at = layout->gone[i].end;
    }
    for (; map->count && gap < layout->gap_count; gap++)
        add_fill(map, layout->gaps[gap].fill_samples);
    if (map->count == 0)
        map->lead_samples = 0;
    map->out_samples = map->lead_samples;
    for (size_t i = 0; i < map->count; i++) {
        struct tt_stretch *stretch = &map->stretches[i];
        stretch->out_start = map->out_samples;
        map->out_samples += stretch->source_end - stretch->source_start + stretch->fill_samples;
    }
}

/* Reaches no speech, as long as the room tone around the join allows that; never more than half of a stretch. */
static int64_t limit_fade(const struct layout *layout, int64_t fade, int64_t at, const struct tt_stretch *stretch)
{
    int64_t shortest = tt_frames_from_ms(FADE_LEAST_MS, layout->times.rate_hz);
    fade = tt_least(fade, 2 * take_distance_to_speech(&layout->times, at));
    if (fade < shortest)
        fade = shortest;
    fade = tt_least(fade, (stretch->source_end - stretch->source_start) / 2);
    /* Both halves are read inside the take. */
    return tt_least(fade, 2 * tt_least(at, layout->times.frame_count - at));
}

static void set_fades(struct tt_time_map *map, const struct layout *layout)
{
    int64_t longest = tt_frames_from_ms(FADE_MOST_MS, map->rate_hz);
    for (size_t i = 0; i < map->count; i++) {
        struct tt_stretch *stretch = &map->stretches[i], *next = i + 1 < map->count ? stretch + 1 : NULL;
        if (!next && !stretch->fill_samples)
            continue;
        int64_t fade = limit_fade(layout, longest, stretch->source_end, stretch);
        if (next)
            fade = limit_fade(layout, fade, next->source_start, next);
        if (next)
            fade = tt_least(fade, (stretch->source_end - stretch->source_start) / 2);
        if (stretch->fill_samples)
            fade = tt_least(fade, stretch->fill_samples);
        stretch->fade_samples = (int32_t)(fade / 2 * 2);
    }
    if (map->lead_samples) {
        int64_t fade = tt_least(limit_fade(layout, longest, map->stretches[0].source_start, &map->stretches[0]),
                                map->lead_samples);
        map->lead_fade_samples = (int32_t)(fade / 2 * 2);
    }
}

bool tt_time_map_build(const struct tt_sheet *sheet, const struct tt_heard *heard, struct tt_time_map *map,
                       struct tt_error *err)
{
    struct layout layout;
    bool is_built = layout_make(&layout, sheet, heard, err);
    *map = (struct tt_time_map){.rate_hz = heard->facts.rate_hz, .from_sample = layout.from, .to_sample = layout.to};
    if (is_built) {
        map->stretches = malloc((layout.gone_count + layout.gap_count + 1) * sizeof *map->stretches);
        is_built = map->stretches ? true : tt_fail_memory(err);
    }
    if (is_built) {
        lay_out(map, &layout);
        set_fades(map, &layout);
    }
    layout_free(&layout);
    return is_built;
}

void tt_time_map_free(struct tt_time_map *map)
{
    if (!map)
        return;
    free(map->stretches);
    *map = (struct tt_time_map){0};
}

bool tt_time_map_has_gaps(const struct tt_time_map *map)
{
    bool has = map->lead_samples > 0;
    for (size_t i = 0; i < map->count; i++)
        has = has || map->stretches[i].fill_samples > 0;
    return has;
}
