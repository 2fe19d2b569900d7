/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/cepstra.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/units.h"
#include "base/wide.h"

/* Speech lies between these; above, rooms and microphones differ more than words do. */
static const double lowest_hz = 80.0;
static const double highest_hz = 7000.0;
static const double highest_of_rate = 0.45; /* stays clear of a recorder's anti-alias slope */

/* +-20 holds the first coefficient of the steepest spectra met (about +-17); the eighth spreads by about 1. */
const float tt_cepstra_step = 0.16f;

/* A bin of -150 dBFS: under any converter's noise, so digital silence stays finite. */
static const float least_power = 1e-15f;

static const float db_per_ln = 4.3429448f; /* 10 / ln 10 */

struct tt_cepstra {
    int first_bin, last_bin; /* bins with any weight; last is exclusive */
    int *band;               /* per bin: the lower of the two bands it feeds; -1 is none below the first */
    float *rise;             /* per bin: its weight in band + 1 */
    float *fall;             /* per bin: its weight in band */
    int edges[TT_MEL_BANDS +
              2]; /* band b rises over the bins edges[b] .. edges[b + 1] - 1, and falls up to edges[b + 2] - 1 */
    float cosine[TT_MEL_BANDS][TT_CEPSTRA]; /* DCT-II, orthonormal, over the quantiser's step */
};

static double mel_from_hz(double hz) { return 2595.0 * log10(1.0 + hz / 700.0); } /* as in the HTK book */
static double hz_from_mel(double mel) { return 700.0 * (pow(10.0, mel / 2595.0) - 1.0); }

/* ln by exponent and a polynomial for the mantissa: error under 2e-4, a thousandth of a step, at a tenth of libm's
 * cost. */
static inline float quick_ln(float x)
{
    uint32_t bits;
    memcpy(&bits, &x, sizeof bits);
    int exponent = (int)(bits >> 23) - 127;
    bits = (bits & 0x007FFFFFu) | 0x3F800000u;
    float m;
    memcpy(&m, &bits, sizeof m);
    /* ln(m) = 2 artanh(t), t = (m - 1) / (m + 1) <= 1/3: the series up to t^7 */
    float t = (m - 1.0f) / (m + 1.0f), t2 = t * t;
    float series = t * (2.0f + t2 * (2.0f / 3.0f + t2 * (2.0f / 5.0f + t2 * (2.0f / 7.0f))));
    return (float)exponent * 0.69314718f + series;
}

/* Triangles between neighbouring centres, each with a sum of one: a band reads the mean power per bin, whatever the
 * rate. */
static void make_bands(struct tt_cepstra *cepstra, struct tt_stft_shape shape)
{
    double top_hz = fmin(highest_hz, highest_of_rate * shape.rate_hz);
    double low = mel_from_hz(lowest_hz), step = (mel_from_hz(top_hz) - low) / (TT_MEL_BANDS + 1);
    double bin_hz = (double)shape.rate_hz / shape.window_samples;
    double sum[TT_MEL_BANDS] = {0};
    cepstra->first_bin = shape.bin_count;
    cepstra->last_bin = 0;
    for (int k = 0; k < shape.bin_count; k++) {
        double at = (mel_from_hz(k * bin_hz) - low) / step; /* in bands: centre b lies at b + 1 */
        cepstra->band[k] = -2;
        if (at <= 0.0 || at >= TT_MEL_BANDS + 1)
            continue;
        int below = (int)at; /* band below - 1 falls, band below rises */
        double part = at - below;
        cepstra->band[k] = below - 1;
        if (below < TT_MEL_BANDS)
            sum[below] += part;
        if (below > 0)
            sum[below - 1] += 1.0 - part;
        cepstra->rise[k] = below < TT_MEL_BANDS ? (float)part : 0.0f;
        cepstra->fall[k] = below > 0 ? (float)(1.0 - part) : 0.0f;
        if (k < cepstra->first_bin)
            cepstra->first_bin = k;
        cepstra->last_bin = k + 1;
    }
    for (int j = 0, k = cepstra->first_bin; j < TT_MEL_BANDS + 2; j++) {
        while (k < cepstra->last_bin && cepstra->band[k] < j - 1)
            k++;
        cepstra->edges[j] = k;
    }
    for (int k = cepstra->first_bin; k < cepstra->last_bin; k++) {
        int b = cepstra->band[k];
        if (b >= 0 && sum[b] > 0.0)
            cepstra->fall[k] = (float)(cepstra->fall[k] / sum[b]);
        if (b + 1 < TT_MEL_BANDS && sum[b + 1] > 0.0)
            cepstra->rise[k] = (float)(cepstra->rise[k] / sum[b + 1]);
    }
}

struct tt_cepstra *tt_cepstra_create(struct tt_stft_shape shape, struct tt_error *err)
{
    if (shape.rate_hz <= 0 || shape.window_samples <= 0 || shape.bin_count <= 0) {
        tt_fail(err, TT_ERROR_INTERNAL, "cepstra need the shape of a spectrum");
        return NULL;
    }
    struct tt_cepstra *cepstra = calloc(1, sizeof *cepstra);
    if (!cepstra) {
        tt_fail_memory(err);
        return NULL;
    }
    size_t bins = (size_t)shape.bin_count;
    cepstra->band = calloc(bins, sizeof *cepstra->band);
    cepstra->rise = calloc(bins, sizeof *cepstra->rise);
    cepstra->fall = calloc(bins, sizeof *cepstra->fall);
    if (!cepstra->band || !cepstra->rise || !cepstra->fall) {
        tt_cepstra_destroy(cepstra);
        tt_fail_memory(err);
        return NULL;
    }
    make_bands(cepstra, shape);
    for (int c = 0; c < TT_CEPSTRA; c++)
        for (int b = 0; b < TT_MEL_BANDS; b++)
            cepstra->cosine[b][c] = (float)(sqrt(2.0 / TT_MEL_BANDS) * cos(TT_PI * (c + 1) * (b + 0.5) / TT_MEL_BANDS) /
                                            (double)tt_cepstra_step);
    return cepstra;
}

void tt_cepstra_destroy(struct tt_cepstra *cepstra)
{
    if (!cepstra)
        return;
    free(cepstra->band);
    free(cepstra->rise);
    free(cepstra->fall);
    free(cepstra);
}

int tt_cepstra_bins(const struct tt_cepstra *cepstra) { return cepstra->last_bin; }

double tt_mel_centre_hz(double from_hz, double to_hz, int band, int band_count)
{
    double low = mel_from_hz(from_hz);
    return hz_from_mel(low + (mel_from_hz(to_hz) - low) * (band + 1) / (band_count + 1));
}

static float sum_weighted(const float *weights, const float *power, int from, int to, float sum)
{
    for (int k = from; k < to; k++)
        sum += weights[k] * power[k];
    return sum;
}

/* From the bands' levels to what is kept; their mean logarithm. */
TT_WIDE static float transform(const struct tt_cepstra *cepstra, const float *levels, float *sums)
{
    float logarithms[TT_MEL_BANDS], sum = 0.0f;
    for (int b = 0; b < TT_MEL_BANDS; b++)
        logarithms[b] = quick_ln(levels[b] + least_power);
    for (int b = 0; b < TT_MEL_BANDS; b++)
        sum += logarithms[b];
    _Static_assert(TT_CEPSTRA == sizeof(tt_half_lanes) / sizeof(float), "a sum in each lane");
    tt_half_lanes all = {0}, cosine;
    for (int b = 0; b < TT_MEL_BANDS; b++) {
        memcpy(&cosine, cepstra->cosine[b], sizeof cosine);
        all += cosine * logarithms[b];
    }
    memcpy(sums, &all, sizeof all);
    return sum / TT_MEL_BANDS;
}

static int8_t quantise(float value)
{
    float held = value > 127.0f ? 127.0f : value < -127.0f ? -127.0f : value; /* a NaN passes both and ends below */
    return held == held ? (int8_t)lrintf(held) : 0;
}

int8_t tt_cepstra_of(const struct tt_cepstra *cepstra, const float *power, int8_t quantised[TT_CEPSTRA])
{
    const int *edges = cepstra->edges;
    float levels[TT_MEL_BANDS], sums[TT_CEPSTRA];
    for (int b = 0; b < TT_MEL_BANDS; b++) {
        float level = sum_weighted(cepstra->rise, power, edges[b], edges[b + 1], 0.0f);
        levels[b] = sum_weighted(cepstra->fall, power, edges[b + 1], edges[b + 2], level);
    }
    const float level = transform(cepstra, levels, sums);
    for (int c = 0; c < TT_CEPSTRA; c++)
        quantised[c] = quantise(sums[c]);
    return quantise(db_per_ln * level);
}

float tt_cepstra_apart_db(const int8_t a[TT_CEPSTRA], int8_t a_level_db, const int8_t b[TT_CEPSTRA], int8_t b_level_db)
{
    int squares = 0;
    const int level_db = a_level_db - b_level_db;
    for (int c = 0; c < TT_CEPSTRA; c++)
        squares += (a[c] - b[c]) * (a[c] - b[c]);
    /* The transform is orthonormal: squares of coefficients sum to those of the bands (Parseval). */
    const float step_db = db_per_ln * tt_cepstra_step;
    return sqrtf((float)(level_db * level_db) + step_db * step_db * (float)squares / TT_MEL_BANDS);
}
