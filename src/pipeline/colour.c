/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/colour.h"

#include <math.h>

#include "base/units.h"
#include "dsp/band_levels.h"

/* Band edges: octaves where vowels are told apart by less, smaller steps where a microphone's side and distance show.
 */
static const double colour_edges_hz[TT_COLOUR_BANDS + 1] = {100, 200, 400, 800, 1600, 2500, 4000, 6300, 10000};
static const double least_s = 3; /* less speech has the colour of its words */

void tt_colour_add(struct tt_colour *colour, const struct tt_stft_shape *shape, const float *power)
{
    const double bins_per_hz = (double)shape->window_samples / shape->rate_hz;
    for (int b = 0; b < TT_COLOUR_BANDS; b++) {
        int from = (int)(colour_edges_hz[b] * bins_per_hz + 0.5),
            to = (int)(colour_edges_hz[b + 1] * bins_per_hz + 0.5);
        to = to < shape->bin_count ? to : shape->bin_count;
        if (to > from)
            colour->sums[b] += (double)tt_sum_of(power + from, to - from);
    }
    colour->frames++;
}

void tt_colour_sum_up(const struct tt_colour *colour, const struct tt_stft_shape *shape, float *colour_db)
{
    double mean = 0;
    const bool is_known = (double)colour->frames * shape->hop_samples >= least_s * shape->rate_hz;
    for (int b = 0; b < TT_COLOUR_BANDS; b++) {
        colour_db[b] = is_known ? (float)tt_db_from_power(colour->sums[b] / (double)colour->frames + 1e-20) : NAN;
        mean += (double)colour_db[b] / TT_COLOUR_BANDS;
    }
    for (int b = 0; b < TT_COLOUR_BANDS; b++)
        colour_db[b] -= (float)mean;
}
