/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes the hum out of a floor that was heard with it: between the lines of its fine spectrum the finder hears the noise alone. */
#include <math.h>

#include "dsp/hum_finder.h"

#define PI 3.14159265358979323846

/* A line is heard in the bins of a track this far around it (side lobes of the root Hann window are 23 dB down from there). */
enum { LINE_REACH_BINS = 2, LEVEL_BINS = 20 };

/* Power response of the decimation filter. */
static double taps_power(const struct tt_hum_finder *finder, double frequency_hz)
{
    const double rate_hz = finder->low_rate_hz * finder->step;
    double re = 0.0, im = 0.0;
    for (int i = 0; i < finder->tap_count; i++) {
        const double angle = 2.0 * PI * frequency_hz * i / rate_hz;
        re += (double)finder->taps[i] * cos(angle);
        im += (double)finder->taps[i] * sin(angle);
    }
    return re * re + im * im;
}

/* Noise power per bin of a track (white noise of power p reads p) beside each line found; returns how many lines there are. */
static int noise_beside_lines(const struct tt_hum_finder *finder, const struct tt_hum_candidate *candidate, const struct tt_hum *hum,
                              double *line_hz, double *density)
{
    int count = 0;
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        if (hum->over_floor_db[k] <= 0.0F) continue;
        line_hz[count] = (k + 1) * hum->base_hz;
        density[count] = finder->step * exp(candidate->density_log[k] / (double)finder->stretches) / taps_power(finder, line_hz[count]);
        count++;
    }
    return count;
}

/* The density at a frequency, straight in dB between the lines; 0 where no line reaches a bin there. */
static double density_at(double frequency_hz, double reach_hz, const double *line_hz, const double *density, int count)
{
    int behind = 0;
    while (behind < count && line_hz[behind] < frequency_hz) behind++;
    const bool is_after = behind > 0 && frequency_hz - line_hz[behind - 1] <= reach_hz;
    const bool is_before = behind < count && line_hz[behind] - frequency_hz <= reach_hz;
    if (!is_after && !is_before) return 0.0;
    if (behind == 0 || behind == count) return density[behind == 0 ? 0 : count - 1];
    const double part = (frequency_hz - line_hz[behind - 1]) / (line_hz[behind] - line_hz[behind - 1]);
    return density[behind - 1] * pow(density[behind] / density[behind - 1], part);
}

/* Mean log power of a row over the bins next above the lines, by which rows of a changing room differ. */
static double level_above(const struct tt_floor_track *track, const float *row, double last_line_hz)
{
    const double bin_hz = (double)track->shape.rate_hz / track->shape.window_samples;
    const int first = (int)ceil(last_line_hz / bin_hz) + LINE_REACH_BINS + 1;
    double sum = 0.0;
    int count = 0;
    for (int i = first; i < first + LEVEL_BINS && i < track->shape.bin_count; i++, count++) sum += log((double)row[i]);
    return count > 0 ? sum / count : 0.0;
}

void tt_hum_finder_clear_floor(const struct tt_hum_finder *finder, const struct tt_hum *hum, struct tt_floor_track *track)
{
    double line_hz[TT_HUM_HARMONICS], density[TT_HUM_HARMONICS], mean_level = 0.0;
    const struct tt_hum_candidate *candidate = &finder->candidates[0];
    if (hum->base_hz <= 0.0 || finder->stretches == 0) return;
    if (finder->candidate_count == 2 && fabs(hum->base_hz - 60.0) < 5.0) candidate = &finder->candidates[1];
    const int count = noise_beside_lines(finder, candidate, hum, line_hz, density);
    if (count == 0) return;
    const double bin_hz = (double)track->shape.rate_hz / track->shape.window_samples;
    const size_t bins = (size_t)track->shape.bin_count;
    for (int n = 0; n < track->node_count; n++)
        mean_level += level_above(track, track->power + (size_t)n * bins, line_hz[count - 1]) / track->node_count;
    for (int n = 0; n < track->node_count; n++) {
        float *row = track->power + (size_t)n * bins;
        const double scale = exp(level_above(track, row, line_hz[count - 1]) - mean_level);
        for (size_t i = 0; i < bins; i++) {
            const double noise = scale * density_at((double)i * bin_hz, LINE_REACH_BINS * bin_hz, line_hz, density, count);
            if (noise > 0.0 && noise < (double)row[i]) row[i] = (float)noise;
        }
    }
}
