/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/k_weighting.h"

#include <math.h>

static const double pi = 3.14159265358979323846;
/* Below this nothing can be heard or measured, and denormal numbers, which are slow, are still far away. */
static const double state_floor = 1e-30;

/* The standard prints coefficients for 48 kHz only. These design parameters give all of its digits, by the bilinear transform
 * of the analogue prototypes, and the same curves at other rates. They are known from free implementations of the standard. */
struct tt_biquad tt_k_shelf(int rate_hz)
{
    const double corner_hz = 1681.974450955533, gain_db = 3.999843853973347, quality = 0.7071752369554196;
    const double k = tan(pi * corner_hz / rate_hz), high = pow(10.0, gain_db / 20.0);
    const double band = pow(high, 0.4996667741545416), scale = 1.0 + k / quality + k * k;
    return (struct tt_biquad){
        .b0 = (high + band * k / quality + k * k) / scale,
        .b1 = 2.0 * (k * k - high) / scale,
        .b2 = (high - band * k / quality + k * k) / scale,
        .a1 = 2.0 * (k * k - 1.0) / scale,
        .a2 = (1.0 - k / quality + k * k) / scale,
    };
}

struct tt_biquad tt_k_highpass(int rate_hz)
{
    const double corner_hz = 38.13547087602444, quality = 0.5003270373238773;
    const double k = tan(pi * corner_hz / rate_hz), scale = 1.0 + k / quality + k * k;
    return (struct tt_biquad){
        .b0 = 1.0, .b1 = -2.0, .b2 = 1.0,
        .a1 = 2.0 * (k * k - 1.0) / scale,
        .a2 = (1.0 - k / quality + k * k) / scale,
    };
}

void tt_k_weighting_init(struct tt_k_weighting *filter, int rate_hz)
{
    *filter = (struct tt_k_weighting){.shelf = tt_k_shelf(rate_hz), .highpass = tt_k_highpass(rate_hz)};
}

static double settled(double state)
{
    return fabs(state) < state_floor || !isfinite(state) ? 0.0 : state;
}

double tt_k_weighting_energy(struct tt_k_weighting *filter, const float *samples, size_t count)
{
    /* Transposed direct form, arranged so that one multiplication and one addition lead from state to state. */
    const struct tt_biquad s = filter->shelf, h = filter->highpass;
    const double shelf_in1 = s.b1 - s.a1 * s.b0, shelf_in2 = s.b2 - s.a2 * s.b0;
    const double highpass_in1 = h.b1 - h.a1 * h.b0, highpass_in2 = h.b2 - h.a2 * h.b0;
    double s1 = filter->shelf_state[0], s2 = filter->shelf_state[1];
    double h1 = filter->highpass_state[0], h2 = filter->highpass_state[1];
    double energy = 0.0;
    for (size_t i = 0; i < count; i++) {
        const double x = samples[i];
        const double shelved = s.b0 * x + s1;
        const double next_s1 = (shelf_in1 * x + s2) - s.a1 * s1;
        s2 = shelf_in2 * x - s.a2 * s1;
        s1 = next_s1;
        const double weighted = shelved + h1; /* b0 is 1 */
        const double next_h1 = (highpass_in1 * shelved + h2) - h.a1 * h1;
        h2 = highpass_in2 * shelved - h.a2 * h1;
        h1 = next_h1;
        energy += weighted * weighted;
    }
    filter->shelf_state[0] = settled(s1);
    filter->shelf_state[1] = settled(s2);
    filter->highpass_state[0] = settled(h1);
    filter->highpass_state[1] = settled(h2);
    return isfinite(energy) ? energy : 0.0;
}
