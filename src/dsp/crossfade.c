/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/crossfade.h"

#include <math.h>

#include "base/units.h"

double tt_likeness(const float *a, const float *b, size_t count)
{
    double ab = 0, aa = 0, bb = 0;
    for (size_t i = 0; i < count; i++) {
        ab += (double)a[i] * b[i];
        aa += (double)a[i] * a[i];
        bb += (double)b[i] * b[i];
    }
    if (ab <= 0 || aa <= 0 || bb <= 0)
        return 0;
    double rho = ab / sqrt(aa * bb);
    return rho < 1 ? rho : 1;
}

void tt_crossfade(const float *from, const float *to, float *output, size_t count)
{
    const double rho = tt_likeness(from, to, count);
    for (size_t i = 0; i < count; i++) {
        /* Raised-cosine course, so that the fade has no corner at its ends. */
        double share = 0.5 - 0.5 * cos(TT_PI * ((double)i + 0.5) / (double)count);
        double a = 1 - share, b = share;
        double norm = 1 / sqrt(a * a + b * b + 2 * rho * a * b);
        output[i] = (float)(norm * (a * from[i] + b * to[i]));
    }
}
