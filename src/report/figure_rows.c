/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/figure_rows.h"

#include <math.h>

#include "report/html.h"
#include "report/removed.h"
#include "report/svg.h"
#include "sheet/landing.h"

static const double mark_apart = 6;       /* marks of one kind nearer than this are drawn as one */
static const double least_gone_s = 0.002; /* less than that shows nowhere */

/* ---- where each part went ---- */

static void add_ribbon(struct tt_text *out, const struct tt_figure_frame *frame, const struct tt_stretch *first,
                       const struct tt_stretch *last)
{
    double rate = frame->take->map->rate_hz;
    int64_t out_end = last->out_start + (last->source_end - last->source_start);
    tt_svg_xy(out, "M", tt_figure_x(frame, (double)first->source_start / rate), frame->ribbon_y);
    tt_svg_xy(out, "L", tt_figure_x(frame, (double)last->source_end / rate), frame->ribbon_y);
    tt_svg_xy(out, "L", tt_figure_x(frame, (double)out_end / rate), frame->after_y);
    tt_svg_xy(out, "L", tt_figure_x(frame, (double)first->out_start / rate), frame->after_y);
    tt_text_add(out, "Z");
}

/* Stretches with less than half a unit between them, above and below, are one ribbon. */
void tt_figure_ribbons(struct tt_text *out, const struct tt_figure_frame *frame)
{
    const struct tt_time_map *map = frame->take->map;
    tt_text_add(out, "<path class=\"ribbon\" d=\"");
    for (size_t i = 0, next; i < map->count; i = next) {
        for (next = i + 1; next < map->count; next++) {
            const struct tt_stretch *left = &map->stretches[next - 1], *right = &map->stretches[next];
            double most = 0.5 / frame->scale * map->rate_hz;
            if ((double)(right->source_start - left->source_end) > most || (double)left->fill_samples > most)
                break;
        }
        add_ribbon(out, frame, &map->stretches[i], &map->stretches[next - 1]);
    }
    tt_text_add(out, "\"/>\n");
}

/* ---- decisions ---- */

static void add_box(struct tt_text *path, const struct tt_figure_frame *frame, double start_s, double end_s,
                    double top_y, double bottom_y)
{
    double x = tt_figure_x(frame, start_s);
    tt_svg_xy(path, "M", x, top_y);
    tt_text_add(path, "H");
    tt_html_exact(path, fmax(tt_figure_x(frame, end_s), x + 0.6), 1);
    tt_text_add(path, "V");
    tt_html_exact(path, bottom_y, 1);
    tt_text_add(path, "H");
    tt_html_exact(path, x, 1);
    tt_text_add(path, "Z");
}

/* The parts of a span that are in no stretch: of a shortened pause its middle. `index` is where to begin; rows come in
 * time order. */
static void add_gone(struct tt_text *path, const struct tt_figure_frame *frame, struct tt_span span, size_t *index)
{
    const struct tt_time_map *map = frame->take->map;
    double rate = map->rate_hz, start_s = (double)span.start_ms / 1000, end_s = (double)span.end_ms / 1000;
    while (*index > 0 && (double)map->stretches[*index - 1].source_end / rate > start_s)
        --*index;
    while (*index < map->count && (double)map->stretches[*index].source_end / rate <= start_s)
        ++*index;
    for (size_t i = *index; start_s < end_s; i++) {
        double kept_s = i < map->count ? (double)map->stretches[i].source_start / rate : end_s;
        double until_s = fmin(kept_s, end_s);
        if (until_s - start_s > least_gone_s)
            add_box(path, frame, start_s, until_s, frame->before_y, frame->ribbon_y);
        start_s = i < map->count ? (double)map->stretches[i].source_end / rate : end_s;
    }
}

static void add_path(struct tt_text *out, struct tt_text *path, enum tt_row_kind kind, const char *what)
{
    if (path->data)
        tt_text_addf(out, "<path class=\"%s %s\" d=\"%s\"/>\n", tt_row_kind_name(kind), what, path->data);
    if (path->has_failed)
        out->has_failed = true;
    tt_text_free(path);
}

/* Columns over the curve where something is gone; a line under the shapes where it was softened, kept, or asks. */
void tt_figure_spans(struct tt_text *out, const struct tt_figure_frame *frame, enum tt_row_kind kind)
{
    const struct tt_sheet *sheet = frame->take->sheet;
    double line_y = TT_FIGURE_TOP + TT_FIGURE_LANE * frame->lane[kind] + TT_FIGURE_LANE - 3;
    struct tt_text gone = {0}, there = {0};
    size_t index = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        struct tt_span span;
        const struct tt_row *row = &sheet->rows[i];
        if (row->kind != kind)
            continue;
        if (tt_row_removes(row, &span))
            add_gone(&gone, frame, span, &index);
        else
            add_box(&there, frame, (double)row->start_ms / 1000, (double)row->end_ms / 1000, line_y, line_y + 2);
    }
    add_path(out, &gone, kind, "gone");
    add_path(out, &there, kind, "there");
}

static void add_use(struct tt_text *out, enum tt_row_kind kind, double x, double y)
{
    const char *name = tt_row_kind_name(kind);
    tt_text_addf(out, "<use class=\"%s\" href=\"#mark-%s\" width=\"14\" height=\"14\" x=\"", name, name);
    tt_html_exact(out, x - 7, 1);
    tt_text_add(out, "\" y=\"");
    tt_html_exact(out, y - 7, 1);
    tt_text_add(out, "\"/>");
}

/* A shape in the kind's lane above, and a tick at the place in the voice that it became. */
void tt_figure_marks(struct tt_text *out, const struct tt_figure_frame *frame, enum tt_row_kind kind)
{
    const struct tt_take_report *take = frame->take;
    double lane_y = TT_FIGURE_TOP + TT_FIGURE_LANE * frame->lane[kind], last_x = -100, last_out_x = -100;
    struct tt_text ticks = {0};
    tt_text_addf(out, "<text class=\"tick\" x=\"4\" y=\"%.0f\">%s</text>\n", lane_y + 12, tt_row_kind_name(kind));
    for (size_t i = 0; i < take->sheet->count; i++) {
        const struct tt_row *row = &take->sheet->rows[i];
        if (row->kind != kind)
            continue;
        double x = tt_figure_x(frame, (double)(row->start_ms + row->end_ms) / 2000);
        if (x - last_x >= mark_apart)
            add_use(out, kind, last_x = x, lane_y + TT_FIGURE_LANE / 2.0 - 2);
        if (take->map->count == 0)
            continue;
        struct tt_landing landing = tt_landing_of_row(row, take->map);
        double out_x = tt_figure_x(frame, (double)(landing.start + landing.end) / 2 / take->map->rate_hz);
        if (fabs(out_x - last_out_x) < 1)
            continue;
        tt_svg_xy(&ticks, "M", last_out_x = out_x, frame->after_y);
        tt_text_add(&ticks, "v9");
    }
    add_path(out, &ticks, kind, "join");
}
