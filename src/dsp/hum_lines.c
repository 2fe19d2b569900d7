/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/hum_lines.h"

#include <math.h>
#include <string.h>

#include "base/median.h"
#include "base/units.h"
#include "dsp/fast_math.h"

/* Mains are kept within 0.2 Hz in public grids (common practice, no source); recorders' clocks add nothing to speak of.
 */
static const double SEARCH_HZ = 0.3;
static const double SEARCH_STEP_HZ = 0.02;
/* The floor beside a line is the median this far from it. */
static const double NEIGHBOUR_FROM_HZ = 6.0, NEIGHBOUR_TO_HZ = 20.0;
static const double LINE_OVER_DB = 7.0;  /* a line that stands out */
static const double LINE_MOST_DB = 20.0; /* no single line decides */
enum { NEIGHBOUR_STRIDE = 4, MOST_NEIGHBOURS = 256, LINES_LEAST = 3, STRETCH_LINES_LEAST = 2, CELLS_A_DB = 2 };
static const double LOWEST_DB = -20.0; /* of a line over its neighbours, in the histogram */
static const double least_power = 1e-30;
static const double median_of_mean = 0.693147;   /* of an exponential distribution: ln 2 */
static const double db_per_octave = 3.010299957; /* of a power's */

static double bin_power(const struct tt_hum_spectrum *spectrum, int bin)
{
    const double re = (double)spectrum->bins[bin][0], im = (double)spectrum->bins[bin][1];
    return re * re + im * im;
}

/* The median power from NEIGHBOUR_FROM_HZ to NEIGHBOUR_TO_HZ on both sides of a frequency, as a mean of Gaussian noise.
 */
static double neighbour_power(const struct tt_hum_spectrum *spectrum, double frequency_hz)
{
    double values[MOST_NEIGHBOURS];
    int count = 0;
    const double bin_hz = spectrum->bin_hz;
    for (int side = -1; side <= 1; side += 2)
        for (double away = NEIGHBOUR_FROM_HZ; away <= NEIGHBOUR_TO_HZ && count < MOST_NEIGHBOURS;
             away += NEIGHBOUR_STRIDE * bin_hz) {
            const int bin = (int)lround((frequency_hz + side * away) / bin_hz);
            if (bin > 0 && bin <= spectrum->transform_count / 2)
                values[count++] = bin_power(spectrum, bin);
        }
    if (count == 0)
        return least_power;
    return tt_nth_smallest(values, (size_t)count, (size_t)count / 2) / median_of_mean + least_power;
}

/* How far each harmonic of base_hz stands over its neighbours, dB; returns the clipped sum of what stands out. */
static double line_levels(const struct tt_hum_spectrum *spectrum, double base_hz, const double *neighbours,
                          double *levels)
{
    const double bin_hz = spectrum->bin_hz;
    double sum = 0.0;
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        const int bin = (int)((k + 1) * base_hz / bin_hz + 0.5);
        levels[k] = bin < spectrum->transform_count / 2
                        ? db_per_octave * (double)tt_fast_log2((float)(bin_power(spectrum, bin) / neighbours[k] + 1e-3))
                        : LOWEST_DB;
        sum += levels[k] > 0.0 ? fmin(levels[k], LINE_MOST_DB) : 0.0;
    }
    return sum;
}

/* Where the power around a frequency peaks, by a parabola through the logarithms of three bins. */
static double peak_near(const struct tt_hum_spectrum *spectrum, double frequency_hz)
{
    const double bin_hz = spectrum->bin_hz;
    int best = (int)lround(frequency_hz / bin_hz);
    const int from = best - 3, to = best + 3;
    for (int bin = from; bin <= to; bin++)
        if (bin_power(spectrum, bin) > bin_power(spectrum, best))
            best = bin;
    const double left = log(bin_power(spectrum, best - 1) + least_power),
                 middle = log(bin_power(spectrum, best) + least_power);
    const double right = log(bin_power(spectrum, best + 1) + least_power), bend = left - 2.0 * middle + right;
    const double offset = bend < -1e-6 ? 0.5 * (left - right) / bend : 0.0;
    return (best + fmax(-0.5, fmin(0.5, offset))) * bin_hz;
}

/* What the peaks of the lines that stand out say of the base frequency, each as much as it is known: a line's power
 * over its neighbours is what its place is exact by. Between words close together the lines are low, broad and beside
 * their places. */
static void add_frequency(struct tt_hum_candidate *candidate, const struct tt_hum_spectrum *spectrum, double base_hz,
                          const double *levels)
{
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        if (levels[k] < LINE_OVER_DB)
            continue;
        const double number = k + 1, weight = tt_power_from_db(levels[k]);
        candidate->frequency_sum += weight * number * peak_near(spectrum, number * base_hz);
        candidate->frequency_weight += weight * number * number;
    }
}

void tt_hum_lines_judge(struct tt_hum_candidate *candidate, const struct tt_hum_spectrum *spectrum)
{
    double neighbours[TT_HUM_HARMONICS], levels[TT_HUM_HARMONICS], best[TT_HUM_HARMONICS] = {0};
    double best_sum = -1.0, best_hz = candidate->base_hz;
    for (int k = 0; k < TT_HUM_HARMONICS; k++)
        neighbours[k] = neighbour_power(spectrum, (k + 1) * (double)candidate->base_hz);
    const int steps = (int)lround(SEARCH_HZ / SEARCH_STEP_HZ);
    for (int i = -steps; i <= steps; i++) {
        const double base_hz = candidate->base_hz + i * SEARCH_STEP_HZ;
        const double sum = line_levels(spectrum, base_hz, neighbours, levels);
        if (sum <= best_sum)
            continue;
        best_sum = sum;
        best_hz = base_hz;
        memcpy(best, levels, sizeof best);
    }
    int lines = 0;
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        int cell = (int)lround(CELLS_A_DB * (best[k] - LOWEST_DB));
        cell = cell < 0 ? 0 : cell >= TT_HUM_LEVELS ? TT_HUM_LEVELS - 1 : cell;
        candidate->histogram[k][cell]++;
        lines += best[k] >= LINE_OVER_DB;
    }
    if (lines < STRETCH_LINES_LEAST)
        return;
    candidate->found++;
    add_frequency(candidate, spectrum, best_hz, best);
}

static double median_level(const struct tt_hum_candidate *candidate, int harmonic)
{
    int total = 0, below = 0;
    for (int i = 0; i < TT_HUM_LEVELS; i++)
        total += candidate->histogram[harmonic][i];
    for (int i = 0; i < TT_HUM_LEVELS; i++) {
        below += candidate->histogram[harmonic][i];
        if (2 * below > total)
            return (double)i / CELLS_A_DB + LOWEST_DB;
    }
    return LOWEST_DB;
}

struct tt_hum tt_hum_lines_result(const struct tt_hum_candidate *candidate, double *sum_db)
{
    struct tt_hum hum = {0};
    int lines = 0;
    *sum_db = 0.0;
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        const double level = median_level(candidate, k);
        if (level < LINE_OVER_DB)
            continue;
        hum.over_floor_db[k] = (float)level;
        lines++;
        *sum_db += level;
    }
    if (lines < LINES_LEAST || candidate->found == 0)
        return (struct tt_hum){0};
    hum.base_hz = candidate->frequency_sum / candidate->frequency_weight;
    return hum;
}
