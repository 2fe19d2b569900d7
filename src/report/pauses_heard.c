/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/pauses_heard.h"

#include <math.h>

#include "report/chart_frame.h"

/* Speech is held together over 100 ms (dsp/listener_runs.c): shorter ones are no pauses. */
static const double shortest_s = 0.1;

double tt_pause_step_s(int i) { return shortest_s * exp2(0.5 * i); }

static void add_pause(size_t *steps, double *longest_s, double pause_s)
{
    if (!(pause_s >= shortest_s))
        return;
    int step = 0;
    while (step + 1 < TT_PAUSE_STEPS && pause_s >= tt_pause_step_s(step + 1))
        step++;
    steps[step]++;
    *longest_s = fmax(*longest_s, pause_s);
}

void tt_pauses_measure(const struct tt_take_report *take, struct tt_pauses_heard *pauses)
{
    const struct tt_heard *heard = take->heard;
    const double rate = heard->facts.rate_hz;
    int64_t last_out = -1;
    *pauses = (struct tt_pauses_heard){0};
    for (size_t i = 0; i < heard->run_count; i++) {
        const struct tt_run *run = &heard->runs[i];
        if (i > 0)
            add_pause(pauses->before, &pauses->longest_before_s,
                      (double)(run->loud_start_sample - run[-1].loud_end_sample) / rate);
        int64_t first, last;
        if (!take->map || tt_time_map_kept(take->map, run->loud_start_sample, run->loud_end_sample, &first, &last) == 0)
            continue;
        if (last_out >= 0)
            add_pause(pauses->after, &pauses->longest_after_s, (double)(first - last_out) / rate);
        last_out = last;
    }
}

/* ---- chart ---- */

enum { HEIGHT = 200, RISE = HEIGHT - TOP - BOTTOM };

static int x_of(double step) { return LEFT + (int)lround(step * PLOT / TT_PAUSE_STEPS); }
static int y_of(size_t count, size_t most)
{
    return TOP + RISE - (int)lround((double)RISE * (double)count / (double)most);
}

static void add_outline(struct tt_text *out, const size_t *steps, size_t most, const char *style)
{
    tt_text_addf(out, "<path class=\"%s\" d=\"M%d %d", style, LEFT, TOP + RISE);
    for (int i = 0; i < TT_PAUSE_STEPS; i++)
        tt_text_addf(out, "V%dH%d", y_of(steps[i], most), x_of(i + 1));
    tt_text_addf(out, "V%d\"/>\n", TOP + RISE);
}

/* Four lines at most, at whole numbers. */
static void add_counts(struct tt_text *out, size_t most)
{
    size_t step = 1;
    for (size_t next = 2; most / step > 4; step = next)
        next = step % 5 == 0 || step == 1 ? 2 * step : step * 5 / 2;
    for (size_t count = 0; count <= most; count += step)
        tt_text_addf(out,
                     "<path class=\"grid\" d=\"M%d %dh%d\"/><text text-anchor=\"end\" x=\"%d\" y=\"%d\">%zu</text>\n",
                     LEFT, y_of(count, most), PLOT, LEFT - 5, y_of(count, most) + 4, count);
}

void tt_chart_pauses(struct tt_text *out, const struct tt_pauses_heard *pauses)
{
    static const struct {
        double s;
        const char *name;
    } names[] = {{0.1, "0.1 s"}, {0.2, "0.2"}, {0.5, "0.5"}, {1, "1 s"}, {2, "2"}, {5, "5"}, {10, "10 s"}, {20, "20"}};
    size_t most = 1;
    for (int i = 0; i < TT_PAUSE_STEPS; i++) {
        if (pauses->before[i] > most)
            most = pauses->before[i];
        if (pauses->after[i] > most)
            most = pauses->after[i];
    }
    tt_text_addf(
        out, "<svg class=\"chart\" role=\"img\" aria-label=\"How many pauses are how long\" viewBox=\"0 0 %d %d\">\n",
        WIDTH, HEIGHT);
    add_counts(out, most);
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        tt_text_addf(out, "<text text-anchor=\"middle\" x=\"%d\" y=\"%d\">%s</text>\n",
                     x_of(2 * log2(names[i].s / shortest_s)), HEIGHT - 8, names[i].name);
    add_outline(out, pauses->before, most, "was");
    add_outline(out, pauses->after, most, "is");
    tt_text_add(out, "</svg>\n");
}
