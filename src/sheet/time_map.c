/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Laying out a voice: what goes, what stays, where room tone comes in between, and how the joins are faded. */
#include "sheet/time_map.h"

#include <math.h>
#include <stdlib.h>

#include "base/least.h"
#include "base/units.h"
#include "sheet/pause_place.h"
#include "sheet/sheet_rows.h"
#include "sheet/take_times.h"

/* Common practice, no source: fades of tens of ms are not heard in room tone, 3 ms is the least that does not click. */
enum { FADE_MOST_MS = 40, FADE_LEAST_MS = 3, STRETCH_LEAST_MS = 10, BREATH_WORTH_MS = 50 };
/* Of room tone beside a word, as pauses are decided with (stages/pauses.c); beside a cut there is room tone on the
 * other side already. */
enum { PAUSE_MARGIN_MS = 120, PAUSE_MARGIN_LEAST_MS = 70, CUT_MARGIN_MS = 30 };

/* Everything that is collected on the way; freed at once. */
struct layout {
    bool has_cuts;
    int64_t from, to; /* the part of the take that is used */
    const struct tt_sheet *sheet;
    struct take_times times;
    struct part *gone; /* rising, merged */
    size_t gone_count;
    struct pause_sound *sounds;
    size_t sound_count;
    struct gap_place *gaps; /* rising */
    size_t gap_count;
};

struct gap_place {
    int64_t sample, fill_samples;
    size_t row;
};

static int compare_parts(const void *a, const void *b)
{
    const struct part *left = a, *right = b;
    if (left->start != right->start)
        return left->start < right->start ? -1 : 1;
    return (left->end > right->end) - (left->end < right->end);
}

static void merge_parts(struct part *parts, size_t *count)
{
    size_t merged = 0;
    qsort(parts, *count, sizeof *parts, compare_parts);
    for (size_t i = 0; i < *count; i++) {
        if (parts[i].end <= parts[i].start)
            continue;
        if (merged && parts[i].start <= parts[merged - 1].end) {
            if (parts[i].end > parts[merged - 1].end)
                parts[merged - 1].end = parts[i].end;
        } else
            parts[merged++] = parts[i];
    }
    *count = merged;
}

static struct part part_of(const struct layout *layout, int64_t start_ms, int64_t end_ms)
{
    return (struct part){take_sample(&layout->times, start_ms), take_sample(&layout->times, end_ms)};
}

/* Cuts of all kinds, without the shortened pauses. */
static bool collect_cuts(struct layout *layout, struct tt_error *err)
{
    struct tt_span *spans;
    size_t count;
    if (!tt_sheet_cut_spans(layout->sheet, &spans, &count, err))
        return false;
    /* Room for one part a row: a row is a cut, or shortened, or neither. */
    layout->gone = malloc((count + layout->sheet->count + 1) * sizeof *layout->gone);
    for (size_t i = 0; layout->gone && i < count; i++)
        layout->gone[layout->gone_count++] = part_of(layout, spans[i].start_ms, spans[i].end_ms);
    free(spans);
    if (!layout->gone)
        return tt_fail_memory(err);
    for (size_t i = 0; i < layout->sheet->count; i++) {
        const struct tt_row *row = &layout->sheet->rows[i];
        if (row->kind == TT_ROW_PAUSE && row->action == TT_DO_CUT)
            layout->gone[layout->gone_count++] = part_of(layout, row->start_ms, row->end_ms);
    }
    layout->has_cuts = layout->gone_count > 0; /* also where they come to less than a sample */
    merge_parts(layout->gone, &layout->gone_count);
    return true;
}

static bool collect_sounds(struct layout *layout, struct tt_error *err)
{
    layout->sounds = malloc((layout->sheet->count + 1) * sizeof *layout->sounds);
    if (!layout->sounds)
        return tt_fail_memory(err);
    for (size_t i = 0; i < layout->sheet->count; i++) {
        const struct tt_row *row = &layout->sheet->rows[i];
        if (!row_kind_is_sound(row->kind) || row->action == TT_DO_CUT)
            continue;
        layout->sounds[layout->sound_count++] = (struct pause_sound){part_of(layout, row->start_ms, row->end_ms),
                                                                     row->kind == TT_ROW_BREATH, row->is_persons};
    }
    return true;
}

/* Sealed rows rise, and so do pauses: each looks only at the sounds and cuts around it. */
static struct pause pause_of(const struct layout *layout, const struct tt_row *row, size_t cut_count,
                             size_t *first_sound, size_t *first_cut)
{
    int rate_hz = layout->times.rate_hz;
    struct pause pause = {.part = part_of(layout, row->start_ms, row->end_ms)};
    while (*first_sound < layout->sound_count && layout->sounds[*first_sound].part.end <= pause.part.start)
        ++*first_sound;
    while (*first_cut < cut_count && layout->gone[*first_cut].end <= pause.part.start)
        ++*first_cut;
    pause.sounds = layout->sounds + *first_sound;
    pause.cuts = layout->gone + *first_cut;
    while (*first_sound + pause.sound_count < layout->sound_count &&
           pause.sounds[pause.sound_count].part.start < pause.part.end)
        pause.sound_count++;
    while (*first_cut + pause.cut_count < cut_count && pause.cuts[pause.cut_count].start < pause.part.end)
        pause.cut_count++;
    pause.stay_samples = tt_frames_from_ms(row->amount * 1000, rate_hz);
    bool is_behind_cut = *first_cut > 0 && layout->gone[*first_cut - 1].end == pause.part.start;
    bool is_before_cut =
        *first_cut + pause.cut_count < cut_count && layout->gone[*first_cut + pause.cut_count].start == pause.part.end;
    pause.margin_before_samples = tt_frames_from_ms(is_behind_cut ? CUT_MARGIN_MS : PAUSE_MARGIN_MS, rate_hz);
    pause.margin_after_samples = tt_frames_from_ms(is_before_cut ? CUT_MARGIN_MS : PAUSE_MARGIN_MS, rate_hz);
    pause.margin_least_samples = tt_frames_from_ms(PAUSE_MARGIN_LEAST_MS, rate_hz);
    pause.breath_worth_samples = tt_frames_from_ms(BREATH_WORTH_MS, rate_hz);
    pause.is_head = pause.part.start <= layout->from;
    pause.is_tail = pause.part.end >= layout->to;
    return pause;
}

/* So many pauses may be looked into before what was read of them is let go: some MiB. */
enum { PAUSES_HELD = 256 };

static void shorten_pauses(struct layout *layout, const struct tt_heard *heard)
{
    const size_t gone_before = layout->gone_count;
    size_t cut_count = layout->gone_count, first_sound = 0, first_cut = 0;
    for (size_t i = 0; i < layout->sheet->count; i++) {
        const struct tt_row *row = &layout->sheet->rows[i];
        if (row->kind != TT_ROW_PAUSE || row->action != TT_DO_SHORTEN || !(row->amount >= 0))
            continue;
        struct pause pause = pause_of(layout, row, cut_count, &first_sound, &first_cut);
        struct part *gone = &layout->gone[layout->gone_count];
        if (!pause_trim(&pause, gone))
            continue;
        pause_place(&pause, heard, gone);
        layout->gone_count++;
        if ((layout->gone_count - gone_before) % PAUSES_HELD == 0)
            tt_heard_let_go(heard);
    }
    tt_heard_let_go(heard);
    merge_parts(layout->gone, &layout->gone_count);
}

/* A gap must not open within a breath: it goes to its nearer end. */
static int64_t beside_sounds(const struct layout *layout, int64_t sample)
{
    for (size_t i = 0; i < layout->sound_count; i++) {
        const struct part *part = &layout->sounds[i].part;
        if (part->start < sample && sample < part->end)
            return sample - part->start <= part->end - sample ? part->start : part->end;
    }
    return sample;
}

static int compare_gaps(const void *a, const void *b)
{
    const struct gap_place *left = a, *right = b;
    if (left->sample != right->sample)
        return left->sample < right->sample ? -1 : 1;
    return left->row < right->row ? -1 : left->row > right->row;
}

static bool collect_gaps(struct layout *layout, struct tt_error *err)
{
    layout->gaps = malloc((layout->sheet->count + 1) * sizeof *layout->gaps);
    if (!layout->gaps)
        return tt_fail_memory(err);
    for (size_t i = 0; i < layout->sheet->count; i++) {
        const struct tt_row *row = &layout->sheet->rows[i];
        if (row->kind != TT_ROW_GAP || row->action != TT_DO_OPEN || !(row->amount > 0))
            continue;
        int64_t sample = take_sample(&layout->times, row->start_ms);
        if (sample < layout->from || sample > layout->to)
            continue;
        sample = take_quiet_place(&layout->times, sample);
        int64_t fill_samples = tt_frames_from_ms(row->amount * 1000, layout->times.rate_hz);
        layout->gaps[layout->gap_count++] = (struct gap_place){beside_sounds(layout, sample), fill_samples, i};
    }
    qsort(layout->gaps, layout->gap_count, sizeof *layout->gaps, compare_gaps);
    return true;
}

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
    struct layout layout = {.sheet = sheet,
                            .times = {heard->facts.rate_hz, heard->facts.frame_count, heard->runs, heard->run_count},
                            .from = heard->from_sample,
                            .to = tt_heard_end(heard)};
    *map = (struct tt_time_map){.rate_hz = heard->facts.rate_hz, .from_sample = layout.from, .to_sample = layout.to};
    bool is_built = collect_cuts(&layout, err) && collect_sounds(&layout, err) && collect_gaps(&layout, err);
    if (is_built) {
        shorten_pauses(&layout, heard);
        map->stretches = malloc((layout.gone_count + layout.gap_count + 1) * sizeof *map->stretches);
        is_built = map->stretches ? true : tt_fail_memory(err);
    }
    if (is_built) {
        lay_out(map, &layout);
        set_fades(map, &layout);
    }
    free(layout.gone);
    free(layout.sounds);
    free(layout.gaps);
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
