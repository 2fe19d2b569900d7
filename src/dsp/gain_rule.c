/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The log-spectral-amplitude rule: exact for tables and tests, and as the chain runs it. */
#include <math.h>

#include "dsp/fast_math.h"
#include "dsp/gate.h"
#include "dsp/lsa_fit.h"

#define EULER_GAMMA 0.57721566490153286061

/* The exponential integral E1: Abramowitz & Stegun 5.1.11 (series) below 1, 5.1.22 (continued fraction) from there on.
 */
static double expint_e1(double v)
{
    if (v <= 1.0) {
        double term = 1.0, sum = 0.0;
        for (int n = 1; n <= 40; n++) {
            term *= -v / n;
            sum -= term / n;
        }
        return -EULER_GAMMA - log(v) + sum;
    }
    /* e^-v / (v + 1/(1 + 1/(v + 2/(1 + 2/(v + ...))))), evaluated from its far end. */
    double tail = 0.0;
    for (int n = 120; n >= 1; n--)
        tail = n / (1.0 + n / (v + tail));
    return exp(-v) / (v + tail);
}

double tt_lsa_gain(double xi, double gamma)
{
    const double v = xi * gamma / (1.0 + xi);
    return xi / (1.0 + xi) * exp(0.5 * expint_e1(v));
}

double tt_speech_presence(double xi_opt, double gamma)
{
    return 1.0 / (1.0 + (1.0 + xi_opt) * exp(-gamma * xi_opt / (1.0 + xi_opt)));
}

TT_WIDE void tt_lsa_gains(const float *xi, const float *gamma, float *gain, int count)
{
    for (int i = 0; i < count; i++) {
        const float share = xi[i] / (1.0F + xi[i]);
        const float v = share * gamma[i];
        const float squared = share * tt_lsa_above(v) / (tt_lsa_below(v) * gamma[i]);
        gain[i] = tt_fast_sqrt(squared < 1.0F ? squared : 1.0F);
    }
}
