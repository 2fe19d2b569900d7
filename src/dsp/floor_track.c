/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/floor_track.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "dsp/fast_math.h"

/* The last node at or before sample; -1 before the first. */
static int node_before(const struct tt_floor_track *track, int64_t sample)
{
    int low = 0, high = track->node_count;
    while (low < high) {
        const int middle = low + (high - low) / 2;
        if (track->node_sample[middle] <= sample)
            low = middle + 1;
        else
            high = middle;
    }
    return low - 1;
}

/* A part of the way from a to b, in decibels. */
TT_WIDE static void blend(const float *restrict a, const float *restrict b, float part, float *restrict power,
                          size_t bins)
{
    for (size_t i = 0; i < bins; i++) {
        const float log_a = tt_fast_log2(a[i]), log_b = tt_fast_log2(b[i]);
        power[i] = tt_fast_exp2(log_a + part * (log_b - log_a));
    }
}

void tt_floor_at(const struct tt_floor_track *track, int64_t sample, float *power)
{
    const size_t bins = (size_t)track->shape.bin_count;
    const int node = node_before(track, sample);
    if (node < 0 || node == track->node_count - 1) {
        memcpy(power, track->power + (size_t)(node < 0 ? 0 : node) * bins, bins * sizeof *power);
        return;
    }
    const float *a = track->power + (size_t)node * bins, *b = a + bins;
    const double from = (double)track->node_sample[node], to = (double)track->node_sample[node + 1];
    const float part = (float)(((double)sample - from) / (to - from));
    blend(a, b, part, power, bins);
}

/* Parseval: the bins between DC and half the rate stand for two each. */
static double bin_share(const struct tt_floor_track *track, int bin)
{
    const double share = bin == 0 || bin == track->shape.bin_count - 1 ? 1.0 : 2.0;
    return share / track->shape.window_samples;
}

double tt_floor_mean_square(const struct tt_floor_track *track, const float *power)
{
    double sum = 0.0;
    for (int i = 0; i < track->shape.bin_count; i++)
        sum += bin_share(track, i) * (double)power[i];
    return sum;
}

double tt_floor_mean_square_a(const struct tt_floor_track *track, const float *power)
{
    double sum = 0.0;
    for (int i = 1; i < track->shape.bin_count; i++) {
        const double frequency_hz = (double)i * track->shape.rate_hz / track->shape.window_samples;
        sum += bin_share(track, i) * (double)power[i] * tt_power_from_db(tt_a_weight_db(frequency_hz));
    }
    return sum;
}

void tt_floor_track_free(struct tt_floor_track *track)
{
    free(track->node_sample);
    free(track->power);
    memset(track, 0, sizeof *track);
}

/* Density over frequency stays, and a row reads density * rate / 2. */
bool tt_floor_track_at_rate(const struct tt_floor_track *track, int64_t sample, int rate_hz, struct tt_floor_track *out,
                            struct tt_error *err)
{
    struct tt_stft_shape shape = tt_stft_shape_for(rate_hz);
    float *row = malloc((size_t)track->shape.bin_count * sizeof *row);
    *out = (struct tt_floor_track){.shape = shape, .node_count = 1};
    out->node_sample = calloc(1, sizeof *out->node_sample);
    out->power = malloc((size_t)shape.bin_count * sizeof *out->power);
    if (!row || !out->node_sample || !out->power) {
        free(row);
        tt_floor_track_free(out);
        return tt_fail_memory(err);
    }
    tt_floor_at(track, sample, row);
    const double scale = (double)rate_hz / track->shape.rate_hz;
    for (int k = 0; k < shape.bin_count; k++) {
        double bin =
            (double)k * rate_hz / shape.window_samples / ((double)track->shape.rate_hz / track->shape.window_samples);
        int low = (int)bin < track->shape.bin_count - 1 ? (int)bin : track->shape.bin_count - 1;
        int high = low + 1 < track->shape.bin_count ? low + 1 : low;
        double share = bin - low < 1 ? bin - low : 1;
        double power = row[low] * (1 - share) + row[high] * share;
        out->power[k] = (float)(bin <= track->shape.bin_count - 1 ? power * scale : 1e-20);
    }
    free(row);
    return true;
}

double tt_a_weight_db(double frequency_hz)
{
    /* IEC 61672-1, annex E: pole frequencies, and the gain that makes 1 kHz 0 dB. */
    static const double pole1 = 20.598997, pole2 = 107.65265, pole3 = 737.86223, pole4 = 12194.217,
                        at_1khz_db = 1.999656;
    const double f2 = frequency_hz * frequency_hz;
    const double response =
        pole4 * pole4 * f2 * f2 /
        ((f2 + pole1 * pole1) * sqrt((f2 + pole2 * pole2) * (f2 + pole3 * pole3)) * (f2 + pole4 * pole4));
    return tt_db_from_amplitude(response) + at_1khz_db;
}
