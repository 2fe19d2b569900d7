/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/chart.h"

#include <math.h>
#include <stdlib.h>

#include "base/units.h"
#include "dsp/loudness.h"
#include "report/chart_frame.h"
#include "report/html.h"
#include "report/svg.h"
#include "report/totals.h"

enum { HEIGHT = 250, RISE = HEIGHT - TOP - BOTTOM };
enum { SHORT_TERM_STEPS = 30 }; /* EBU Tech 3341: 3 s of 100 ms */

struct axes {
    double low, high;
}; /* dB at the bottom and at the top */

static double y_of(const struct axes *axes, double db)
{
    return TOP + RISE * (axes->high - fmin(fmax(db, axes->low), axes->high)) / (axes->high - axes->low);
}

static void add_point(struct tt_text *out, bool is_first, double x, double y)
{
    tt_text_add(out, is_first ? "M" : "L");
    tt_html_exact(out, x, 1);
    tt_text_add(out, " ");
    tt_html_exact(out, y, 1);
}

static void open_chart(struct tt_text *out, const struct axes *axes, int step_db, const char *name)
{
    tt_text_addf(out, "<svg class=\"chart\" role=\"img\" aria-label=\"%s\" viewBox=\"0 0 %d %d\">\n", name, WIDTH,
                 HEIGHT);
    for (int db = (int)axes->high - (int)axes->high % step_db; db >= axes->low; db -= step_db) {
        double y = y_of(axes, db);
        if (db > axes->high)
            continue;
        tt_text_addf(out, "<path class=\"grid\" d=\"M%d ", LEFT);
        tt_html_exact(out, y, 1);
        tt_text_addf(out, "h%d\"/><text text-anchor=\"end\" x=\"%d\" y=\"", PLOT, LEFT - 5);
        tt_html_exact(out, y + 4, 1);
        tt_text_add(out, "\">");
        tt_html_number(out, db, 0);
        tt_text_add(out, "</text>\n");
    }
}

static void add_x_label(struct tt_text *out, double x, const char *text)
{
    tt_text_add(out, "<text text-anchor=\"middle\" x=\"");
    tt_html_exact(out, fmin(x, WIDTH - RIGHT - 10), 1);
    tt_text_addf(out, "\" y=\"%d\">%s</text>\n", HEIGHT - 8, text);
}

/* ---- loudness ---- */

/* Short-term loudness thinned to a value a unit: that of the middle of each stretch. Silence ends the line. */
static void add_short_term(struct tt_text *out, const struct axes *axes, const float *steps, size_t count,
                           double weight, double units_a_step, const char *style)
{
    bool is_open = false;
    double last_x = -2;
    double sum = 0;
    tt_text_addf(out, "<path class=\"%s\" d=\"", style);
    for (size_t i = 0; i < count; i++) {
        sum += (double)steps[i];
        if (i + 1 < SHORT_TERM_STEPS)
            continue;
        double x = LEFT + ((double)i + 1 - SHORT_TERM_STEPS / 2.0) * units_a_step;
        if (x - last_x >= 1) {
            double lufs = tt_lufs_from_power(fmax(sum, 0) / SHORT_TERM_STEPS * weight);
            if (lufs > axes->low)
                add_point(out, !is_open, x, y_of(axes, lufs));
            is_open = lufs > axes->low;
            last_x = x;
        }
        sum -= (double)steps[i + 1 - SHORT_TERM_STEPS];
    }
    tt_text_add(out, "\"/>\n");
}

static void add_times(struct tt_text *out, double length_s)
{
    double step_s = tt_tick_step_s(PLOT / length_s);
    for (int i = 0; i * step_s <= length_s; i++) {
        struct tt_text clock = {0};
        tt_tick_clock(&clock, i * step_s, step_s);
        if (clock.data)
            add_x_label(out, fmax(LEFT + i * step_s * PLOT / length_s, LEFT + 8), clock.data);
        if (clock.has_failed)
            out->has_failed = true;
        tt_text_free(&clock);
    }
}

void tt_chart_loudness(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    struct axes axes = {-50, -6};
    double length_s = fmax(fmax(tt_take_before_s(take), tt_take_after_s(take)), 0.1),
           units_a_step = PLOT / length_s * TT_HEARD_STEP_MS / 1000;
    double target = session->settings->loudness.target_lufs;
    open_chart(out, &axes, 10, "Loudness over time");
    add_times(out, length_s);
    if (session->settings->loudness.aim == TT_AIM_LUFS && !take->comparison) {
        tt_text_addf(out, "<path class=\"aim\" d=\"M%d ", LEFT);
        tt_html_exact(out, y_of(&axes, target), 1);
        tt_text_addf(out, "h%d\"/>\n", PLOT);
    }
    add_short_term(out, &axes, take->heard->steps, take->heard->step_count, 1, units_a_step, "was");
    add_short_term(out, &axes, take->voice_heard->steps, take->voice_heard->step_count,
                   take->out_channel_count == 2 ? 2 : 1, units_a_step, "is");
    tt_text_add(out, "</svg>\n");
}

/* ---- floor ---- */

/* The mean over the take: the floor as it is heard at even distances. */
bool tt_chart_thirds(const struct tt_heard *heard, double *thirds)
{
    enum { PLACES = 64 };
    const struct tt_floor_track *floor = &heard->floor;
    if (floor->node_count < 1)
        return false;
    size_t bins = (size_t)floor->shape.bin_count;
    float *power = malloc(bins * sizeof *power);
    double *mean = calloc(bins, sizeof *mean);
    for (int i = 0; power && mean && i < PLACES; i++) {
        tt_floor_at(floor, heard->facts.frame_count * (2 * i + 1) / (2 * PLACES), power);
        for (size_t k = 0; k < bins; k++)
            mean[k] += (double)power[k] / PLACES;
    }
    bool ok = power && mean;
    if (ok)
        tt_third_octaves(floor->shape, mean, thirds);
    free(power);
    free(mean);
    return ok;
}

static void add_thirds(struct tt_text *out, const struct axes *axes, const double *thirds, double gain_db,
                       const char *style)
{
    bool is_open = false;
    tt_text_addf(out, "<path class=\"%s\" d=\"", style);
    for (int band = 0; band < TT_THIRDS; band++) {
        bool is_known = thirds[band] > 0;
        if (is_known)
            add_point(out, !is_open, LEFT + (band + 0.5) * PLOT / TT_THIRDS,
                      y_of(axes, tt_db_from_power(thirds[band]) + gain_db));
        is_open = is_known;
    }
    tt_text_add(out, "\"/>\n");
}

void tt_chart_floor(struct tt_text *out, const struct tt_take_report *take)
{
    static const struct {
        int band;
        const char *name;
    } names[] = {{0, "100 Hz"}, {4, "250"}, {7, "500"}, {10, "1 kHz"}, {13, "2"}, {16, "4"}, {19, "8"}, {22, "16"}};
    double before[TT_THIRDS], highest = -200, lowest = 0;
    bool has_before = tt_chart_thirds(take->heard, before);
    if (!has_before && take->heard->floor.node_count > 0)
        out->has_failed = true; /* there is a floor, but no memory to show it */
    for (int band = 0; band < TT_THIRDS; band++) {
        double was = has_before && before[band] > 0 ? tt_db_from_power(before[band]) : (double)NAN,
               is = take->voice_heard->thirds[band] > 0 ? tt_db_from_power(take->voice_heard->thirds[band])
                                                        : (double)NAN;
        highest = fmax(highest, fmax(fmax(was, was + take->gain_db), is));
        lowest = fmin(lowest, fmin(was, is));
    }
    struct axes axes = {fmax(10 * floor(lowest / 10), -130), 10 * ceil(highest / 10)};
    if (!(axes.high > axes.low))
        axes = (struct axes){-120, -40};
    open_chart(out, &axes, 10, "Noise floor by third octave, in dB");
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        add_x_label(out, LEFT + (names[i].band + 0.5) * PLOT / TT_THIRDS, names[i].name);
    if (has_before) {
        add_thirds(out, &axes, before, 0, "was");
        add_thirds(out, &axes, before, take->gain_db, "would");
    }
    add_thirds(out, &axes, take->voice_heard->thirds, 0, "is");
    tt_text_add(out, "</svg>\n");
}
