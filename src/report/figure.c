/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/figure.h"

#include <math.h>

#include "dsp/loudness.h"
#include "report/figure_rows.h"
#include "report/html.h"
#include "report/svg.h"
#include "report/totals.h"

enum { COLUMNS = TT_FIGURE_PLOT };
static const double top_lufs = 0, bottom_lufs = -70; /* the absolute gate of BS.1770-5 at the bottom */

/* The loudest 100 ms that falls into each column; -INFINITY: none. */
struct curve {
    float lufs[COLUMNS];
};

static struct tt_figure_frame lay_out(const struct tt_take_report *take)
{
    struct tt_figure_frame frame = {.take = take};
    double before_s = tt_take_before_s(take), after_s = tt_take_after_s(take);
    double longest_s = fmax(fmax(isfinite(before_s) ? before_s : 0, isfinite(after_s) ? after_s : 0), 0.1);
    frame.scale = TT_FIGURE_PLOT / longest_s;
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        frame.lane[kind] = -1;
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        for (size_t i = 0; i < take->sheet->count && frame.lane[kind] < 0; i++)
            if (take->sheet->rows[i].kind == (enum tt_row_kind)kind)
                frame.lane[kind] = frame.lane_count++;
    frame.before_y = TT_FIGURE_TOP + TT_FIGURE_LANE * frame.lane_count + 4;
    frame.ribbon_y = frame.before_y + TT_FIGURE_BAND;
    frame.after_y = frame.ribbon_y + TT_FIGURE_RIBBON;
    frame.axis_y = frame.after_y + TT_FIGURE_BAND;
    frame.height = frame.axis_y + TT_FIGURE_AXIS;
    return frame;
}

/* ---- curves ---- */

static void raise_column(struct curve *curve, double column, double lufs)
{
    int index = (int)column;
    if (index >= 0 && index < COLUMNS && lufs > (double)curve->lufs[index])
        curve->lufs[index] = (float)lufs;
}

/* Of the voice as it was written. */
static void measure_voice(const struct tt_figure_frame *frame, struct curve *after)
{
    const struct tt_voice_heard *heard = frame->take->voice_heard;
    for (size_t i = 0; i < heard->step_count; i++)
        raise_column(after, ((double)i + 0.5) * TT_HEARD_STEP_MS / 1000 * frame->scale,
                     fmax(tt_lufs_from_power((double)heard->steps[i]), bottom_lufs));
}

/* Without a measured voice (a plan) the curve after is the one before, where it stays, moved by the gain. */
static void measure_curves(const struct tt_figure_frame *frame, struct curve *before, struct curve *after)
{
    const struct tt_take_report *take = frame->take;
    const struct tt_heard *heard = take->heard;
    double step_s = TT_HEARD_STEP_MS / 1000.0;
    for (int i = 0; i < COLUMNS; i++)
        before->lufs[i] = after->lufs[i] = -INFINITY;
    for (size_t i = 0; i < heard->step_count; i++) {
        double at_s = ((double)i + 0.5) * step_s, lufs = tt_lufs_from_power((double)heard->steps[i]);
        int64_t out = tt_time_map_to_out(take->map, (int64_t)llround(at_s * take->map->rate_hz));
        lufs = fmax(lufs, bottom_lufs);
        raise_column(before, at_s * frame->scale, lufs);
        if (out >= 0 && !take->voice_heard)
            raise_column(after, (double)out / take->map->rate_hz * frame->scale,
                         fmax(lufs + (take->has_voice ? take->gain_db : 0), bottom_lufs));
    }
    if (take->voice_heard)
        measure_voice(frame, after);
}

static double y_of(double band_y, double lufs)
{
    return band_y + TT_FIGURE_BAND * (top_lufs - fmin(lufs, top_lufs)) / (top_lufs - bottom_lufs);
}

static void close_area(struct tt_text *out, double x, double base_y)
{
    tt_svg_xy(out, "L", x, base_y);
    tt_text_add(out, "Z");
}

/* Areas over the band's bottom; where nothing is known for longer than a step and a column, the area ends and another
 * begins. */
static void add_curve(struct tt_text *out, const struct tt_figure_frame *frame, const struct curve *curve,
                      double band_y)
{
    double base_y = band_y + TT_FIGURE_BAND, last_x = -1,
           most = 1.6 * fmax(1, frame->scale * TT_HEARD_STEP_MS / 1000.0), half = most / 3.2;
    tt_text_add(out, "<path class=\"level\" d=\"");
    for (int i = 0; i < COLUMNS; i++) {
        if (curve->lufs[i] < (float)bottom_lufs)
            continue;
        double x = TT_FIGURE_LEFT + i + 0.5;
        if (last_x < 0 || x - last_x > most) {
            if (last_x >= 0)
                close_area(out, last_x + half, base_y);
            tt_svg_xy(out, "M", fmax(x - half, TT_FIGURE_LEFT), base_y);
        }
        tt_svg_xy(out, "L", x, y_of(band_y, (double)curve->lufs[i]));
        last_x = x;
    }
    if (last_x >= 0)
        close_area(out, last_x + half, base_y);
    tt_text_add(out, "\"/>\n");
}

/* ---- scales ---- */

static void add_level_lines(struct tt_text *out, double band_y, const char *name, bool has_unit)
{
    tt_text_addf(out, "<rect class=\"band\" x=\"%d\" y=\"%.0f\" width=\"%d\" height=\"%d\"/>\n", TT_FIGURE_LEFT, band_y,
                 TT_FIGURE_PLOT, TT_FIGURE_BAND);
    for (int lufs = -20; lufs > (int)bottom_lufs; lufs -= 20) {
        double y = y_of(band_y, lufs);
        tt_text_addf(out, "<path class=\"grid\" d=\"M%d ", TT_FIGURE_LEFT);
        tt_html_exact(out, y, 1);
        tt_text_addf(out, "h%d\"/><text class=\"tick\" text-anchor=\"end\" x=\"%d\" y=\"", TT_FIGURE_PLOT,
                     TT_FIGURE_LEFT - 5);
        tt_html_exact(out, y + 4, 1);
        tt_text_addf(out, "\">\xE2\x88\x92%d%s</text>\n", -lufs, has_unit && lufs == -20 ? " LUFS" : "");
    }
    tt_text_addf(out, "<text class=\"side\" x=\"4\" y=\"%.0f\">%s</text>\n", band_y + 13, name);
}

static void add_time_axis(struct tt_text *out, const struct tt_figure_frame *frame)
{
    double step_s = tt_tick_step_s(frame->scale), last_s = TT_FIGURE_PLOT / frame->scale;
    for (int i = 0; i * step_s <= last_s + 1e-9; i++) {
        double x = tt_figure_x(frame, i * step_s);
        tt_text_add(out, "<path class=\"grid\" d=\"");
        tt_svg_xy(out, "M", x, frame->before_y);
        tt_text_addf(out, "v%dm0 %dv%d\"/><text class=\"tick\" text-anchor=\"%s\" x=\"", TT_FIGURE_BAND,
                     TT_FIGURE_RIBBON, TT_FIGURE_BAND + 4, x > TT_FIGURE_LEFT + TT_FIGURE_PLOT - 20 ? "end" : "middle");
        tt_html_exact(out, x, 1);
        tt_text_addf(out, "\" y=\"%.0f\">", frame->axis_y + 17);
        tt_tick_clock(out, i * step_s, step_s);
        tt_text_add(out, "</text>\n");
    }
}

static void add_heads(struct tt_text *out, const struct tt_figure_frame *frame)
{
    tt_text_addf(out,
                 "<path id=\"head-before\" class=\"head\" d=\"M0 %.0fv%d\"/><path id=\"head-after\" class=\"head\" "
                 "d=\"M0 %.0fv%d\"/>\n",
                 frame->before_y, TT_FIGURE_BAND, frame->after_y, TT_FIGURE_BAND);
}

void tt_figure(struct tt_text *out, const struct tt_take_report *take)
{
    struct tt_figure_frame frame = lay_out(take);
    struct curve before, after;
    measure_curves(&frame, &before, &after);
    tt_text_addf(out,
                 "<svg class=\"picture\" id=\"picture\" role=\"img\" aria-labelledby=\"picture-name\" viewBox=\"0 0 %d "
                 "%.0f\" data-left=\"%d\" data-scale=\"",
                 TT_FIGURE_LEFT + TT_FIGURE_PLOT + TT_FIGURE_RIGHT, frame.height, TT_FIGURE_LEFT);
    tt_html_exact(out, frame.scale, 6);
    tt_text_addf(out, "\" data-middle=\"%.0f\">\n", frame.ribbon_y + TT_FIGURE_RIBBON / 2.0);
    add_level_lines(out, frame.before_y, "before", true);
    add_level_lines(out, frame.after_y, "after", false);
    add_time_axis(out, &frame);
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        if (frame.lane[kind] >= 0)
            tt_figure_spans(out, &frame, (enum tt_row_kind)kind);
    add_curve(out, &frame, &before, frame.before_y);
    tt_figure_ribbons(out, &frame);
    add_curve(out, &frame, &after, frame.after_y);
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        if (frame.lane[kind] >= 0)
            tt_figure_marks(out, &frame, (enum tt_row_kind)kind);
    add_heads(out, &frame);
    tt_text_add(out, "</svg>\n");
}
