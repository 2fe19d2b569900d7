/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/removed.h"

#include <stdlib.h>

#include "base/units.h"
#include "sheet/sheet_rows.h"

struct span_samples {
    int64_t start, end;
};

/* Growing list of spans of one take. */
struct spans {
    struct span_samples *items;
    size_t count;
};

bool tt_row_removes(const struct tt_row *row, struct tt_span *span)
{
    if (row->action == TT_DO_CHOOSE)
        return row_read_again(row, span);
    *span = (struct tt_span){row->start_ms, row->end_ms};
    return row->action == TT_DO_CUT || row->action == TT_DO_SHORTEN;
}

static int compare_spans(const void *a, const void *b)
{
    const struct span_samples *left = a, *right = b;
    if (left->start != right->start)
        return left->start < right->start ? -1 : 1;
    return (left->end > right->end) - (left->end < right->end);
}

static void merge_spans(struct spans *spans)
{
    if (spans->count == 0)
        return;
    qsort(spans->items, spans->count, sizeof *spans->items, compare_spans);
    size_t last = 0;
    for (size_t i = 1; i < spans->count; i++) {
        if (spans->items[i].start > spans->items[last].end)
            spans->items[++last] = spans->items[i];
        else if (spans->items[i].end > spans->items[last].end)
            spans->items[last].end = spans->items[i].end;
    }
    spans->count = last + 1;
}

/* Samples that lie in one of the (merged) spans and in no stretch: all of them, less those kept. */
static int64_t count_gone(const struct spans *spans, const struct tt_time_map *map, int64_t frame_count)
{
    int64_t gone = 0;
    size_t first = 0;
    for (size_t i = 0; i < spans->count; i++) {
        int64_t start = spans->items[i].start, end = spans->items[i].end;
        if (start < map->from_sample)
            start = map->from_sample;
        if (end > frame_count)
            end = frame_count;
        if (start >= end)
            continue;
        gone += end - start;
        while (first < map->count && map->stretches[first].source_end <= start)
            first++;
        for (size_t k = first; k < map->count && map->stretches[k].source_start < end; k++) {
            int64_t from = map->stretches[k].source_start > start ? map->stretches[k].source_start : start;
            int64_t to = map->stretches[k].source_end < end ? map->stretches[k].source_end : end;
            gone -= to - from;
        }
    }
    return gone;
}

static void add_kind(const struct tt_sheet *sheet, enum tt_row_kind kind, int rate_hz, struct spans *spans,
                     size_t *rows)
{
    for (size_t i = 0; i < sheet->count; i++) {
        struct tt_span span;
        if (sheet->rows[i].kind != kind || !tt_row_removes(&sheet->rows[i], &span))
            continue;
        ++*rows;
        spans->items[spans->count++] = (struct span_samples){tt_frames_from_ms((double)span.start_ms, rate_hz),
                                                             tt_frames_from_ms((double)span.end_ms, rate_hz)};
    }
    merge_spans(spans);
}

bool tt_removed_measure(const struct tt_sheet *sheet, const struct tt_time_map *map, int64_t frame_count,
                        struct tt_removed *removed, struct tt_error *err)
{
    /* Earlier ones have what later ones share with them. */
    static const enum tt_row_kind claims[] = {TT_ROW_MISREAD, TT_ROW_TALK,   TT_ROW_OTHER, TT_ROW_NOISE,
                                              TT_ROW_CLICK,   TT_ROW_BREATH, TT_ROW_PAUSE};
    *removed = (struct tt_removed){0};
    if (map->to_sample > 0)
        frame_count = map->to_sample; /* what lies outside the part that is used was not taken out */
    struct span_samples whole = {0, frame_count};
    struct spans all = {&whole, 1};
    removed->seconds = (double)count_gone(&all, map, frame_count) / map->rate_hz;
    struct spans claimed = {malloc((sheet->count + 1) * sizeof(struct span_samples)), 0};
    if (!claimed.items)
        return tt_fail_memory(err);
    int64_t before = 0;
    for (size_t k = 0; k < sizeof claims / sizeof *claims; k++) {
        add_kind(sheet, claims[k], map->rate_hz, &claimed, &removed->by_kind[claims[k]].count);
        int64_t now = count_gone(&claimed, map, frame_count);
        removed->by_kind[claims[k]].seconds = (double)(now - before) / map->rate_hz;
        before = now;
    }
    free(claimed.items);
    return true;
}
