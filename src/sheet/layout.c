/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/layout.h"

#include <stdlib.h>

#include "base/units.h"
#include "sheet/cut_place.h"
#include "sheet/join_place.h"
#include "sheet/pause_place.h"
#include "sheet/sheet_rows.h"

/* Of room tone beside a word, as pauses are decided with (stages/pauses.c); beside a cut there is room tone on the
 * other side already. */
enum { PAUSE_MARGIN_MS = 120, PAUSE_MARGIN_LEAST_MS = 70, CUT_MARGIN_MS = 30 };
/* So much more of a pause may stay to save the breath in front of the next line (common practice, no source). */
enum { BREATH_WORTH_MS = 50 };

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

/* A breath often begins with the lips: what clicks right before it is its beginning. */
static bool is_lips_of_breath(const struct tt_row *click, const struct tt_row *breath)
{
    return click && click->kind == TT_ROW_CLICK && !click->is_persons && breath->kind == TT_ROW_BREATH &&
           click->end_ms == breath->start_ms;
}

static bool collect_sounds(struct layout *layout, struct tt_error *err)
{
    const struct tt_row *before = NULL;
    layout->sounds = malloc((layout->sheet->count + 1) * sizeof *layout->sounds);
    if (!layout->sounds)
        return tt_fail_memory(err);
    for (size_t i = 0; i < layout->sheet->count; i++) {
        const struct tt_row *row = &layout->sheet->rows[i];
        if (!row_kind_is_sound(row->kind) || row->action == TT_DO_CUT)
            continue;
        struct part part = part_of(layout, row->start_ms, row->end_ms);
        if (is_lips_of_breath(before, row))
            part.start = layout->sounds[--layout->sound_count].part.start;
        layout->sounds[layout->sound_count++] = (struct pause_sound){part, row->kind == TT_ROW_BREATH, row->is_persons};
        before = row;
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
    pause.margin_before_samples = tt_frames_from_ms(PAUSE_MARGIN_MS, rate_hz);
    pause.margin_after_samples = tt_frames_from_ms(is_before_cut ? CUT_MARGIN_MS : PAUSE_MARGIN_MS, rate_hz);
    pause.margin_least_samples = tt_frames_from_ms(PAUSE_MARGIN_LEAST_MS, rate_hz);
    pause.breath_worth_samples = tt_frames_from_ms(BREATH_WORTH_MS, rate_hz);
    pause.is_head = is_behind_cut || pause.part.start <= layout->from;
    pause.is_tail = is_before_cut || pause.part.end >= layout->to;
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
            tt_mapped_let_go(&heard->mapped);
    }
    merge_parts(layout->gone, &layout->gone_count);
}

/* Whether a part that goes holds words that the program takes out, and is none of a person's business: what a person
 * set stays as it is, and so does what is beside it. */
static bool is_programs_cut(const struct layout *layout, const struct part *gone, size_t *first_row)
{
    const struct leeway most = join_leeway_most(layout->times.rate_hz);
    const struct tt_sheet *sheet = layout->sheet;
    bool is_cut = false;
    for (size_t i = *first_row; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        const struct part part = part_of(layout, row->start_ms, row->end_ms);
        if (part.start > gone->end + most.ahead)
            break;
        if (part.end < gone->start - most.back) {
            *first_row += i == *first_row;
            continue;
        }
        if (row->is_persons)
            return false;
        is_cut = is_cut || ((row->kind == TT_ROW_MISREAD || row->kind == TT_ROW_TALK) && row->action == TT_DO_CUT);
    }
    return is_cut;
}

static void place_cuts(struct layout *layout, const struct tt_heard *heard)
{
    size_t first_row = 0, first_sound = 0;
    for (size_t i = 0; i < layout->gone_count; i++) {
        struct part *gone = &layout->gone[i];
        const bool is_first = i == 0, is_last = i + 1 == layout->gone_count;
        struct cut_room room = {
            layout->times, {is_first ? layout->from : gone[-1].end, is_last ? layout->to : gone[1].start}, NULL, 0};
        while (first_sound < layout->sound_count && layout->sounds[first_sound].part.end <= room.between.start)
            first_sound++;
        room.sounds = layout->sounds + first_sound;
        while (first_sound + room.sound_count < layout->sound_count &&
               room.sounds[room.sound_count].part.start < room.between.end)
            room.sound_count++;
        if (is_programs_cut(layout, gone, &first_row))
            cut_place(&room, heard, gone);
    }
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

bool layout_make(struct layout *layout, const struct tt_sheet *sheet, const struct tt_heard *heard,
                 struct tt_error *err)
{
    *layout = (struct layout){.sheet = sheet,
                              .times = {heard->facts.rate_hz, heard->facts.frame_count, heard->runs, heard->run_count},
                              .from = heard->from_sample,
                              .to = tt_heard_end(heard)};
    if (!collect_cuts(layout, err) || !collect_sounds(layout, err) || !collect_gaps(layout, err))
        return false;
    shorten_pauses(layout, heard);
    place_cuts(layout, heard);
    tt_mapped_let_go(&heard->mapped);
    return true;
}

void layout_free(struct layout *layout)
{
    free(layout->gone);
    free(layout->sounds);
    free(layout->gaps);
    *layout = (struct layout){0};
}
