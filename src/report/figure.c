/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/figure.h"

#include <math.h>

#include "base/units.h"
#include "dsp/loudness.h"
#include "report/html.h"
#include "report/kinds.h"
#include "sheet/landing.h"
#include "report/removed.h"
#include "report/totals.h"

/* All in the picture's own units, which are pixels at its natural size. */
enum { LEFT = 84, PLOT = 1160, RIGHT = 16, TOP = 8, LANE = 18, BAND = 112, RIBBON = 64, AXIS = 22, COLUMNS = PLOT };
static const double top_lufs = 0, bottom_lufs = -70; /* the absolute gate of BS.1770-5 at the bottom */
static const double mark_apart = 6;                  /* marks of one kind nearer than this are drawn as one */

struct curve {
    float lufs[COLUMNS];
}; /* loudest 100 ms that falls into each column; -INFINITY: none */

struct picture {
    const struct tt_take_report *take;
    double scale;           /* units a second */
    int lane[TT_ROW_KINDS]; /* -1: no row of this kind */
    int lane_count;
    double before_y, ribbon_y, after_y, axis_y, height;
};

static double x_of(const struct picture *picture, double seconds) { return LEFT + seconds * picture->scale; }

static void add_xy(struct tt_text *out, const char *command, double x, double y)
{
    tt_text_add(out, command);
    tt_html_exact(out, x, 1);
    tt_text_add(out, " ");
    tt_html_exact(out, y, 1);
}

static struct picture lay_out(const struct tt_take_report *take)
{
    struct picture picture = {.take = take};
    double before_s = tt_take_before_s(take), after_s = tt_take_after_s(take);
    double longest_s = fmax(fmax(isfinite(before_s) ? before_s : 0, isfinite(after_s) ? after_s : 0), 0.1);
    picture.scale = PLOT / longest_s;
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        picture.lane[kind] = -1;
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        for (size_t i = 0; i < take->sheet->count && picture.lane[kind] < 0; i++)
            if (take->sheet->rows[i].kind == (enum tt_row_kind)kind)
                picture.lane[kind] = picture.lane_count++;
    picture.before_y = TOP + LANE * picture.lane_count + 4;
    picture.ribbon_y = picture.before_y + BAND;
    picture.after_y = picture.ribbon_y + RIBBON;
    picture.axis_y = picture.after_y + BAND;
    picture.height = picture.axis_y + AXIS;
    return picture;
}

/* ---- curves ---- */

static void raise_column(struct curve *curve, double column, double lufs)
{
    int index = (int)column;
    if (index >= 0 && index < COLUMNS && lufs > (double)curve->lufs[index])
        curve->lufs[index] = (float)lufs;
}

/* Of the voice as it was written. */
static void measure_voice(const struct picture *picture, struct curve *after)
{
    const struct tt_voice_heard *heard = picture->take->voice_heard;
    for (size_t i = 0; i < heard->step_count; i++)
        raise_column(after, ((double)i + 0.5) * TT_HEARD_STEP_MS / 1000 * picture->scale,
                     fmax(tt_lufs_from_power((double)heard->steps[i]), bottom_lufs));
}

/* Without a measured voice (a plan) the curve after is the one before, where it stays, moved by the gain. */
static void measure_curves(const struct picture *picture, struct curve *before, struct curve *after)
{
    const struct tt_take_report *take = picture->take;
    const struct tt_heard *heard = take->heard;
    double step_s = TT_HEARD_STEP_MS / 1000.0;
    for (int i = 0; i < COLUMNS; i++)
        before->lufs[i] = after->lufs[i] = -INFINITY;
    for (size_t i = 0; i < heard->step_count; i++) {
        double at_s = ((double)i + 0.5) * step_s, lufs = tt_lufs_from_power((double)heard->steps[i]);
        int64_t out = tt_time_map_to_out(take->map, (int64_t)llround(at_s * take->map->rate_hz));
        lufs = fmax(lufs, bottom_lufs);
        raise_column(before, at_s * picture->scale, lufs);
        if (out >= 0 && !take->voice_heard)
            raise_column(after, (double)out / take->map->rate_hz * picture->scale,
                         fmax(lufs + (take->has_voice ? take->gain_db : 0), bottom_lufs));
    }
    if (take->voice_heard)
        measure_voice(picture, after);
}

static double y_of(double band_y, double lufs)
{
    return band_y + BAND * (top_lufs - fmin(lufs, top_lufs)) / (top_lufs - bottom_lufs);
}

/* Areas over the band's bottom; where nothing is known for longer than a step and a column, the area ends and another
 * begins. */
static void add_curve(struct tt_text *out, const struct picture *picture, const struct curve *curve, double band_y)
{
    double base_y = band_y + BAND, last_x = -1, most = 1.6 * fmax(1, picture->scale * TT_HEARD_STEP_MS / 1000.0),
           half = most / 3.2;
    tt_text_add(out, "<path class=\"level\" d=\"");
    for (int i = 0; i < COLUMNS; i++) {
        if (curve->lufs[i] < (float)bottom_lufs)
            continue;
        double x = LEFT + i + 0.5;
        if (last_x < 0 || x - last_x > most) {
            if (last_x >= 0)
                add_xy(out, "L", last_x + half, base_y), tt_text_add(out, "Z");
            add_xy(out, "M", fmax(x - half, LEFT), base_y);
        }
        add_xy(out, "L", x, y_of(band_y, (double)curve->lufs[i]));
        last_x = x;
    }
    if (last_x >= 0)
        add_xy(out, "L", last_x + half, base_y), tt_text_add(out, "Z");
    tt_text_add(out, "\"/>\n");
}

/* ---- scales ---- */

static void add_level_lines(struct tt_text *out, double band_y, const char *name, bool has_unit)
{
    tt_text_addf(out, "<rect class=\"band\" x=\"%d\" y=\"%.0f\" width=\"%d\" height=\"%d\"/>\n", LEFT, band_y, PLOT,
                 BAND);
    for (int lufs = -20; lufs > (int)bottom_lufs; lufs -= 20) {
        double y = y_of(band_y, lufs);
        tt_text_addf(out, "<path class=\"grid\" d=\"M%d ", LEFT);
        tt_html_exact(out, y, 1);
        tt_text_addf(out, "h%d\"/><text class=\"tick\" text-anchor=\"end\" x=\"%d\" y=\"", PLOT, LEFT - 5);
        tt_html_exact(out, y + 4, 1);
        tt_text_addf(out, "\">\xE2\x88\x92%d%s</text>\n", -lufs, has_unit && lufs == -20 ? " LUFS" : "");
    }
    tt_text_addf(out, "<text class=\"side\" x=\"4\" y=\"%.0f\">%s</text>\n", band_y + 13, name);
}

double tt_tick_step_s(double scale)
{
    static const double steps_s[] = {0.1, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600};
    for (size_t i = 0; i < sizeof steps_s / sizeof *steps_s; i++)
        if (steps_s[i] * scale >= 85)
            return steps_s[i];
    return 7200 * fmax(1, ceil(85 / scale / 7200));
}

void tt_tick_clock(struct tt_text *out, double at_s, double step_s)
{
    long long whole = llround(at_s);
    if (step_s < 1)
        tt_html_clock(out, at_s);
    else if (whole >= 3600)
        tt_text_addf(out, "%lld:%02lld:%02lld", whole / 3600, whole / 60 % 60, whole % 60);
    else
        tt_text_addf(out, "%lld:%02lld", whole / 60, whole % 60);
}

static void add_time_axis(struct tt_text *out, const struct picture *picture)
{
    double step_s = tt_tick_step_s(picture->scale), last_s = PLOT / picture->scale;
    for (int i = 0; i * step_s <= last_s + 1e-9; i++) {
        double x = x_of(picture, i * step_s);
        tt_text_add(out, "<path class=\"grid\" d=\"");
        add_xy(out, "M", x, picture->before_y);
        tt_text_addf(out, "v%dm0 %dv%d\"/><text class=\"tick\" text-anchor=\"%s\" x=\"", BAND, RIBBON, BAND + 4,
                     x > LEFT + PLOT - 20 ? "end" : "middle");
        tt_html_exact(out, x, 1);
        tt_text_addf(out, "\" y=\"%.0f\">", picture->axis_y + 17);
        tt_tick_clock(out, i * step_s, step_s);
        tt_text_add(out, "</text>\n");
    }
}

/* ---- where each part went ---- */

static void add_ribbon(struct tt_text *out, const struct picture *picture, const struct tt_stretch *first,
                       const struct tt_stretch *last)
{
    double rate = picture->take->map->rate_hz;
    int64_t out_end = last->out_start + (last->source_end - last->source_start);
    add_xy(out, "M", x_of(picture, (double)first->source_start / rate), picture->ribbon_y);
    add_xy(out, "L", x_of(picture, (double)last->source_end / rate), picture->ribbon_y);
    add_xy(out, "L", x_of(picture, (double)out_end / rate), picture->after_y);
    add_xy(out, "L", x_of(picture, (double)first->out_start / rate), picture->after_y);
    tt_text_add(out, "Z");
}

/* Stretches with less than half a unit between them, above and below, are one ribbon. */
static void add_ribbons(struct tt_text *out, const struct picture *picture)
{
    const struct tt_time_map *map = picture->take->map;
    tt_text_add(out, "<path class=\"ribbon\" d=\"");
    for (size_t i = 0, next; i < map->count; i = next) {
        for (next = i + 1; next < map->count; next++) {
            const struct tt_stretch *left = &map->stretches[next - 1], *right = &map->stretches[next];
            double most = 0.5 / picture->scale * map->rate_hz;
            if ((double)(right->source_start - left->source_end) > most || (double)left->fill_samples > most)
                break;
        }
        add_ribbon(out, picture, &map->stretches[i], &map->stretches[next - 1]);
    }
    tt_text_add(out, "\"/>\n");
}

/* ---- decisions ---- */

static void add_box(struct tt_text *path, const struct picture *picture, double start_s, double end_s, double top_y,
                    double bottom_y)
{
    double x = x_of(picture, start_s);
    add_xy(path, "M", x, top_y);
    tt_text_add(path, "H");
    tt_html_exact(path, fmax(x_of(picture, end_s), x + 0.6), 1);
    tt_text_add(path, "V");
    tt_html_exact(path, bottom_y, 1);
    tt_text_add(path, "H");
    tt_html_exact(path, x, 1);
    tt_text_add(path, "Z");
}

/* The parts of a span that are in no stretch: of a shortened pause its middle. `index` is where to begin; rows come in
 * time order. */
static void add_gone(struct tt_text *path, const struct picture *picture, struct tt_span span, size_t *index)
{
    const struct tt_time_map *map = picture->take->map;
    double rate = map->rate_hz, start_s = (double)span.start_ms / 1000, end_s = (double)span.end_ms / 1000;
    while (*index > 0 && (double)map->stretches[*index - 1].source_end / rate > start_s)
        --*index;
    while (*index < map->count && (double)map->stretches[*index].source_end / rate <= start_s)
        ++*index;
    for (size_t i = *index; start_s < end_s; i++) {
        double kept_s = i < map->count ? (double)map->stretches[i].source_start / rate : end_s;
        double until_s = fmin(kept_s, end_s);
        if (until_s - start_s > 0.002)
            add_box(path, picture, start_s, until_s, picture->before_y, picture->ribbon_y);
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
static void add_spans(struct tt_text *out, const struct picture *picture, enum tt_row_kind kind)
{
    const struct tt_sheet *sheet = picture->take->sheet;
    double line_y = TOP + LANE * picture->lane[kind] + LANE - 3;
    struct tt_text gone = {0}, there = {0};
    size_t index = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        struct tt_span span;
        const struct tt_row *row = &sheet->rows[i];
        if (row->kind != kind)
            continue;
        if (tt_row_removes(row, &span))
            add_gone(&gone, picture, span, &index);
        else
            add_box(&there, picture, (double)row->start_ms / 1000, (double)row->end_ms / 1000, line_y, line_y + 2);
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
static void add_marks(struct tt_text *out, const struct picture *picture, enum tt_row_kind kind)
{
    const struct tt_take_report *take = picture->take;
    double lane_y = TOP + LANE * picture->lane[kind], last_x = -100, last_out_x = -100;
    struct tt_text ticks = {0};
    tt_text_addf(out, "<text class=\"tick\" x=\"4\" y=\"%.0f\">%s</text>\n", lane_y + 12, tt_row_kind_name(kind));
    for (size_t i = 0; i < take->sheet->count; i++) {
        const struct tt_row *row = &take->sheet->rows[i];
        if (row->kind != kind)
            continue;
        double x = x_of(picture, (double)(row->start_ms + row->end_ms) / 2000);
        if (x - last_x >= mark_apart)
            add_use(out, kind, last_x = x, lane_y + LANE / 2.0 - 2);
        if (take->map->count == 0)
            continue;
        struct tt_landing landing = tt_landing_of_row(row, take->map);
        double out_x = x_of(picture, (double)(landing.start + landing.end) / 2 / take->map->rate_hz);
        if (fabs(out_x - last_out_x) < 1)
            continue;
        add_xy(&ticks, "M", last_out_x = out_x, picture->after_y);
        tt_text_add(&ticks, "v9");
    }
    add_path(out, &ticks, kind, "join");
}

static void add_heads(struct tt_text *out, const struct picture *picture)
{
    tt_text_addf(out,
                 "<path id=\"head-before\" class=\"head\" d=\"M0 %.0fv%d\"/><path id=\"head-after\" class=\"head\" "
                 "d=\"M0 %.0fv%d\"/>\n",
                 picture->before_y, BAND, picture->after_y, BAND);
}

void tt_figure(struct tt_text *out, const struct tt_take_report *take)
{
    struct picture picture = lay_out(take);
    struct curve before, after;
    measure_curves(&picture, &before, &after);
    tt_text_addf(out,
                 "<svg class=\"picture\" id=\"picture\" role=\"img\" aria-labelledby=\"picture-name\" viewBox=\"0 0 %d "
                 "%.0f\" data-left=\"%d\" data-scale=\"",
                 LEFT + PLOT + RIGHT, picture.height, LEFT);
    tt_html_exact(out, picture.scale, 6);
    tt_text_addf(out, "\" data-middle=\"%.0f\">\n", picture.ribbon_y + RIBBON / 2.0);
    add_level_lines(out, picture.before_y, "before", true);
    add_level_lines(out, picture.after_y, "after", false);
    add_time_axis(out, &picture);
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        if (picture.lane[kind] >= 0)
            add_spans(out, &picture, (enum tt_row_kind)kind);
    add_curve(out, &picture, &before, picture.before_y);
    add_ribbons(out, &picture);
    add_curve(out, &picture, &after, picture.after_y);
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        if (picture.lane[kind] >= 0)
            add_marks(out, &picture, (enum tt_row_kind)kind);
    add_heads(out, &picture);
    tt_text_add(out, "</svg>\n");
}
