/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/svg.h"

#include <math.h>

#include "report/html.h"

void tt_svg_xy(struct tt_text *out, const char *command, double x, double y)
{
    tt_text_add(out, command);
    tt_html_exact(out, x, 1);
    tt_text_add(out, " ");
    tt_html_exact(out, y, 1);
}

static const double least_apart = 85; /* units between two ticks, so that their times do not touch */

double tt_tick_step_s(double scale)
{
    static const double steps_s[] = {0.1, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600};
    for (size_t i = 0; i < sizeof steps_s / sizeof *steps_s; i++)
        if (steps_s[i] * scale >= least_apart)
            return steps_s[i];
    return 7200 * fmax(1, ceil(least_apart / scale / 7200));
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
