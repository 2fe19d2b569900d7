/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Each harmonic is followed in amplitude and phase, one step a mains period, and taken away. Over a whole period the
 * harmonics do not disturb one another. Steps larger than the hum's own wandering explains hardly count, so that a
 * voice on the same frequency neither is thinned nor leaves a tail; a common phase loop follows the mains frequency. */
#include "dsp/hum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "dsp/fast_math.h"

#define PI 3.14159265358979323846

/* The longest averaging: a notch some 0.3 Hz wide. */
static const double AVERAGING_S = 1.0;
/* The steps' usual size is followed as their low quantile: that is what they are while nobody speaks. */
static const double QUIET_QUANTILE = 0.15;
static const double QUANTILE_STEP = 0.1;
static const double CLIP_OVER_USUAL = 3.0, CLIP_AT_FIRST = 1.5; /* at first the whole hum is what is usual */
static const double SMALLEST = 1e-12;                           /* never 0, so that ratios stay finite */
enum {
    START_PERIODS = 8,
    SETTLED_PERIODS = 50
}; /* as many trusted ones: the hum is known; nothing but noise is left of it */
/* The mains frequency wanders by some 0.05 Hz within minutes; how fast the loop follows. */
static const double FREQUENCY_LOOP_S = 2.0;
static const double FREQUENCY_MOST_HZ = 0.15;

struct harmonic {
    int number;
    double re, im;  /* amplitude against the oscillator at the period's start */
    double usual;   /* low quantile of the steps' sizes */
    double trusted; /* of all periods so far, each by how much it counted */
};

struct tt_hum_filter {
    int rate_hz, count, period; /* period in samples, rounded */
    double base_hz, drift_hz;
    int at; /* samples into the period */
    int64_t periods;
    struct harmonic harmonics[TT_HUM_HARMONICS];
    float *cosine, *sine; /* count rows of period samples, at the base frequency */
    float *cleaned;       /* the period so far, without hum */
};

static void make_tables(struct tt_hum_filter *filter)
{
    for (int h = 0; h < filter->count; h++)
        for (int i = 0; i < filter->period; i++) {
            const double angle = 2.0 * PI * filter->harmonics[h].number * filter->base_hz * i / filter->rate_hz;
            filter->cosine[h * filter->period + i] = (float)cos(angle);
            filter->sine[h * filter->period + i] = (float)sin(angle);
        }
}

struct tt_hum_filter *tt_hum_filter_create(int rate_hz, const struct tt_hum *hum, const float *sizes,
                                           struct tt_error *err)
{
    struct tt_hum_filter *filter = calloc(1, sizeof *filter);
    if (!filter) {
        tt_fail_memory(err);
        return NULL;
    }
    filter->rate_hz = rate_hz;
    filter->base_hz = hum->base_hz;
    filter->period = hum->base_hz > 0.0 ? (int)lround(rate_hz / hum->base_hz) : 1;
    for (int k = 0; k < TT_HUM_HARMONICS && hum->base_hz > 0.0; k++)
        if (hum->over_floor_db[k] > 0.0F && (k + 1) * hum->base_hz < 0.45 * rate_hz)
            filter->harmonics[filter->count++] =
                (struct harmonic){.number = k + 1, .usual = (double)sizes[k] + SMALLEST};
    const size_t cells = (size_t)(filter->count + 1) * (size_t)filter->period;
    filter->cosine = malloc(cells * sizeof *filter->cosine);
    filter->sine = malloc(cells * sizeof *filter->sine);
    filter->cleaned = malloc((size_t)filter->period * sizeof *filter->cleaned);
    if (!filter->cosine || !filter->sine || !filter->cleaned) {
        tt_fail_memory(err);
        tt_hum_filter_destroy(filter);
        return NULL;
    }
    make_tables(filter);
    return filter;
}

void tt_hum_filter_destroy(struct tt_hum_filter *filter)
{
    if (!filter)
        return;
    free(filter->cosine);
    free(filter->sine);
    free(filter->cleaned);
    free(filter);
}

/* Part of a period: takes each harmonic off. */
TT_WIDE static void take_off(struct tt_hum_filter *filter, float *samples, int count)
{
    for (int h = 0; h < filter->count; h++) {
        const struct harmonic *harmonic = &filter->harmonics[h];
        const float *c = filter->cosine + h * filter->period + filter->at,
                    *s = filter->sine + h * filter->period + filter->at;
        const float re = (float)harmonic->re, im = (float)harmonic->im;
        for (int i = 0; i < count; i++)
            samples[i] -= re * c[i] - im * s[i];
    }
    memcpy(filter->cleaned + filter->at, samples, (size_t)count * sizeof *samples);
}

TT_WIDE static double dot(const float *a, const float *b, int count)
{
    tt_lanes sums[2] = {{0}};
    double sum = 0.0;
    int i = 0;
    for (; i + 2 * TT_LANES <= count; i += 2 * TT_LANES) {
        tt_lanes_add_products(&sums[0], a + i, b + i);
        tt_lanes_add_products(&sums[1], a + i + TT_LANES, b + i + TT_LANES);
    }
    for (; i < count; i++)
        sum += (double)(a[i] * b[i]);
    sums[0] += sums[1];
    return sum + (double)tt_lanes_sum(&sums[0]);
}

/* The usual size of steps: up by its share when a step is larger, down when smaller, in balance at the wanted quantile.
 * It begins as that of the whole hum: it stays until the hum is known, and then comes down quickly to what is left. */
static void follow_usual(struct harmonic *harmonic, double size)
{
    const double rate = harmonic->trusted < SETTLED_PERIODS ? 3.0 * QUANTILE_STEP : QUANTILE_STEP;
    if (harmonic->trusted < START_PERIODS)
        return;
    harmonic->usual *=
        size > harmonic->usual ? 1.0 + QUANTILE_STEP * QUIET_QUANTILE : 1.0 - rate * (1.0 - QUIET_QUANTILE);
}

/* The further a step is out, the less it counts: that is a voice. Where the hum itself has jumped, what is usual grows
 * until the steps count again, within seconds. */
static double trust_in(const struct harmonic *harmonic, double size)
{
    const double clip = harmonic->trusted < START_PERIODS ? CLIP_AT_FIRST : CLIP_OVER_USUAL;
    const double share = clip * harmonic->usual / size;
    return share < 1.0 ? share * share * share : 1.0;
}

static void end_period(struct tt_hum_filter *filter)
{
    const double least = filter->period / (AVERAGING_S * filter->rate_hz);
    double turned = 0.0, weight = 0.0;
    for (int h = 0; h < filter->count; h++) {
        struct harmonic *harmonic = &filter->harmonics[h];
        double re = dot(filter->cleaned, filter->cosine + h * filter->period, filter->period) * 2.0 / filter->period;
        double im = -dot(filter->cleaned, filter->sine + h * filter->period, filter->period) * 2.0 / filter->period;
        const double size = hypot(re, im) + SMALLEST;
        follow_usual(harmonic, size);
        const double trust = trust_in(harmonic, size);
        re *= trust;
        im *= trust;
        const double power = harmonic->re * harmonic->re + harmonic->im * harmonic->im;
        const double noise = harmonic->usual * harmonic->usual + SMALLEST * SMALLEST;
        turned += harmonic->number * (harmonic->re * im - harmonic->im * re) / noise;
        weight += harmonic->number * harmonic->number * power / noise;
        /* At first all that was trusted counts alike, with "no hum" as if it had been heard once: a take may begin in a
         * word. */
        harmonic->trusted += trust;
        const double even = 1.0 / (1.0 + harmonic->trusted), share = even > least ? even : least;
        harmonic->re += share * re;
        harmonic->im += share * im;
    }
    const double period_s = (double)filter->period / filter->rate_hz;
    if (filter->periods > 2 * START_PERIODS && weight > 0.0) {
        filter->drift_hz += turned / weight * period_s / (2.0 * PI * AVERAGING_S * FREQUENCY_LOOP_S);
        filter->drift_hz = fmax(-FREQUENCY_MOST_HZ, fmin(FREQUENCY_MOST_HZ, filter->drift_hz));
    }
    for (int h = 0; h < filter->count; h++) {
        struct harmonic *harmonic = &filter->harmonics[h];
        const double angle = 2.0 * PI * harmonic->number * (filter->base_hz + filter->drift_hz) * period_s;
        const double c = cos(angle), s = sin(angle), re = harmonic->re;
        harmonic->re = re * c - harmonic->im * s;
        harmonic->im = re * s + harmonic->im * c;
    }
    filter->periods++;
    filter->at = 0;
}

void tt_hum_filter_run(struct tt_hum_filter *filter, float *samples, size_t count)
{
    if (filter->count == 0)
        return;
    while (count > 0) {
        const size_t room = (size_t)(filter->period - filter->at);
        const int part = (int)(count < room ? count : room);
        take_off(filter, samples, part);
        filter->at += part;
        samples += part;
        count -= (size_t)part;
        if (filter->at == filter->period)
            end_period(filter);
    }
}
