/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The rumble filter's numbers: how low its low rate is, how far it looks ahead, and its coefficients. */
#include <math.h>

#include "base/lanes.h"
#include "base/units.h"
#include "dsp/highpass_parts.h"

static const double LOW_RATE_OVER_CUTOFF = 12.0;
/* Time constants of the slowest pole that the backward run starts ahead of its block: e^-16 = 1e-7. */
static const double LOOK_AHEAD_TIME_CONSTANTS = 16.0;
static const double BLOCK_PER_LOOK_AHEAD = 4.0;
/* The corner of the low-pass whose rest is 3.01 dB down at the cutoff ((0.7071 / 0.2929)^(-1/8)). */
static const double CORNER_OVER_CUTOFF = 0.8957;

/* The cubic B-spline, unit spacing. */
static double spline(double x)
{
    x = fabs(x);
    if (x >= 2.0)
        return 0.0;
    if (x >= 1.0)
        return (2.0 - x) * (2.0 - x) * (2.0 - x) / 6.0;
    return 2.0 / 3.0 - x * x + x * x * x / 2.0;
}

void highpass_fill_taps(struct tt_highpass *filter)
{
    const size_t step = filter->step, reach = SPLINE_REACH * step;
    double sum = 0.0;
    for (size_t i = 0; i <= 2 * reach; i++)
        sum += spline((double)i / (double)step - SPLINE_REACH);
    for (size_t i = 0; i <= 2 * reach; i++)
        filter->down_taps[i] = (float)(spline((double)i / (double)step - SPLINE_REACH) / sum);
    for (size_t row = 0; row < 4; row++)
        for (size_t i = 0; i < step; i++)
            filter->up_taps[row * step + i] = (float)spline((double)i / (double)step + 1.0 - (double)row);
    /* Two splines droop by sinc^8; (x / sin x)^8 = 1 + 4/3 s + 1.37778 s^2 + 1.31640 s^3 + ..., s = sin^2 x (the
     * arcsine's series to the eighth power), and s is the filter (2 - z - 1/z) / 4. Gathered by neighbour: */
    const double c1 = 4.0 / 3.0 / 4.0, c2 = 1.37778 / 16.0, c3 = 1.31640 / 64.0;
    filter->droop[0] = 1.0 + 2.0 * c1 + 6.0 * c2 + 20.0 * c3;
    filter->droop[1] = -c1 - 4.0 * c2 - 15.0 * c3;
    filter->droop[2] = c2 + 6.0 * c3;
    filter->droop[3] = -c3;
}

/* Butterworth low-pass sections by the bilinear transform. Run both ways the low-pass is 1 / (1 + (f/fb)^8), and the
 * rest of it is 3.01 dB down (0.7071) at the cutoff where (cutoff/fb)^8 = 0.7071 / 0.2929. */
static void make_sections(struct tt_highpass *filter, double cutoff_hz, double low_rate_hz)
{
    const double kept = pow(10.0, -3.0103 / 20.0);
    const double k = tan(TT_PI * cutoff_hz / low_rate_hz) / pow(kept / (1.0 - kept), 1.0 / 8.0);
    for (int i = 0; i < ORDER / 2; i++) {
        const double damping = 2.0 * sin(TT_PI * (2 * i + 1) / (2.0 * ORDER));
        const double scale = 1.0 / (1.0 + damping * k + k * k);
        filter->sections[i] = (struct section){.b0 = k * k * scale,
                                               .b1 = 2.0 * k * k * scale,
                                               .b2 = k * k * scale,
                                               .a1 = 2.0 * (k * k - 1.0) * scale,
                                               .a2 = (1.0 - damping * k + k * k) * scale};
    }
}

void highpass_design(struct tt_highpass *filter, int rate_hz, double cutoff_hz)
{
    double step = floor(rate_hz / (LOW_RATE_OVER_CUTOFF * cutoff_hz));
    if (step < 1.0)
        step = 1.0;
    filter->step = (size_t)step;
    const double low_rate_hz = rate_hz / step;
    make_sections(filter, cutoff_hz, low_rate_hz);
    /* The slowest poles of the Butterworth circle lie at sin(22.5 degrees) of its radius. */
    const double slowest = 2.0 * TT_PI * cutoff_hz * CORNER_OVER_CUTOFF * sin(TT_PI / 8.0);
    filter->ahead_low = (size_t)ceil(LOOK_AHEAD_TIME_CONSTANTS / slowest * low_rate_hz);
    filter->block_low = (size_t)ceil(BLOCK_PER_LOOK_AHEAD * (double)filter->ahead_low);
    /* A block needs low values from one step before it to two behind it, then the backward run's and the droop's way
     * ahead. */
    filter->low_count = SPLINE_REACH + filter->block_low + SPLINE_REACH + filter->ahead_low + DROOP_REACH;
    filter->tap_count = (2 * SPLINE_REACH * filter->step + 1 + 2 * TT_LANES - 1) / (2 * TT_LANES) * (2 * TT_LANES);
    filter->span = (filter->low_count - 1 + SPLINE_REACH) * filter->step + 1;
    filter->lead = (filter->ahead_low + 2 * SPLINE_REACH + DROOP_REACH) * filter->step;
    filter->fifo_size = filter->span > 2 * filter->lead + 1 ? filter->span : 2 * filter->lead + 1;
    filter->fifo_count = filter->lead;
    filter->drop = filter->lead - SPLINE_REACH * filter->step;
}
