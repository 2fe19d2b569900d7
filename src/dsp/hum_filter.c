/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Each harmonic is followed in amplitude and phase, one step a mains period, and taken away. Over a whole period the
 * harmonics do not disturb one another. While somebody speaks, the steps of all of them are far larger than usual: such
 * a period hardly counts, so that a voice on the same frequency neither is thinned nor leaves a tail. A common phase
 * loop follows the mains frequency, which is known far better than any one harmonic. */
#include "dsp/hum.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/units.h"
#include "dsp/fast_math.h"
#include "dsp/hum_phase.h"
#include "dsp/running_quantile.h"

/* The longest averaging of amplitudes: a notch some 0.3 Hz wide. */
static const double AVERAGING_S = 1.0;
/* The steps' usual size is a low quantile of the last ones: what they are while nobody speaks. */
static const double QUIET_QUANTILE = 0.15;
static const double QUIET_MEAN_SQUARE = 6.15; /* of noise's steps (Rayleigh), in squares of this quantile: 2 / 0.325 */
/* Where the hum is far louder than the room, the wandering of the mains alone makes such steps. */
static const double USUAL_OF_HUM = 0.05;
static const double CLIP_OVER_USUAL = 3.0; /* of a single harmonic's step */
static const double LOUD = 2.0;       /* a period whose steps are larger than this, in mean squares of usual ones */
static const double SMALLEST = 1e-12; /* never 0, so that ratios stay finite */
enum {
    START_PERIODS = 8,
    USUAL_PERIODS = 1000, /* 20 s: longer than most narrators speak without a pause */
    /* Loud steps that are alike for so long are those of a hum that has changed: a voice is never as steady. */
    CHANGED_PERIODS = 16
};
static const double CHANGED_SPREAD = 0.1; /* of their power */
struct phasor {
    double re, im;
};

struct harmonic {
    int number;
    struct phasor hum;   /* amplitude against the oscillator at the period's start */
    struct phasor step;  /* what was left of it in the last period */
    struct phasor alike; /* sum of the loud steps so far, turned with the oscillator, and of their powers */
    double alike_power;
    double usual;   /* size of steps */
    double trust;   /* in the last step, 0 to 1 */
    double trusted; /* of all periods so far, each by how much it counted */
    struct tt_running_quantile sizes;
    int16_t last_sizes[USUAL_PERIODS];
    int next_size;
};

struct tt_hum_filter {
    int rate_hz, count, period; /* period in samples, rounded */
    double base_hz;
    struct tt_hum_phase phase;
    int at; /* samples into the period */
    int64_t periods;
    int loud_periods; /* one after the other */
    struct harmonic harmonics[TT_HUM_HARMONICS];
    float *cosine, *sine; /* count rows of period samples, at the base frequency */
    float *cleaned;       /* the period so far, without hum */
};

static void make_tables(struct tt_hum_filter *filter)
{
    for (int h = 0; h < filter->count; h++)
        for (int i = 0; i < filter->period; i++) {
            const double angle = 2.0 * TT_PI * filter->harmonics[h].number * filter->base_hz * i / filter->rate_hz;
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
            filter->harmonics[filter->count++] = (struct harmonic){
                .number = k + 1,
                .usual = (double)sizes[k] + SMALLEST,
            };
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
    tt_hum_phase_start(&filter->phase, (double)filter->period / rate_hz);
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
        const float re = (float)harmonic->hum.re, im = (float)harmonic->hum.im;
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

static double power_of(struct phasor p) { return p.re * p.re + p.im * p.im; }

static struct phasor turned_by(struct phasor p, double angle)
{
    const double c = cos(angle), s = sin(angle);
    return (struct phasor){p.re * c - p.im * s, p.re * s + p.im * c};
}

static void add_share(struct phasor *sum, struct phasor p, double share)
{
    sum->re += share * p.re;
    sum->im += share * p.im;
}

/* It begins as the size of the whole hum, and stays that until the hum is known. */
static void follow_usual(struct harmonic *harmonic, double size)
{
    if (harmonic->trusted < START_PERIODS)
        return;
    int16_t *last = &harmonic->last_sizes[harmonic->next_size];
    if (harmonic->sizes.total == USUAL_PERIODS)
        tt_running_quantile_remove(&harmonic->sizes, *last);
    *last = (int16_t)tt_level_step((float)(20.0 * log10(size)));
    tt_running_quantile_add(&harmonic->sizes, *last);
    harmonic->next_size = (harmonic->next_size + 1) % USUAL_PERIODS;
    const double quiet = pow(10.0, (double)tt_running_quantile_at(&harmonic->sizes, QUIET_QUANTILE) / 20.0);
    harmonic->usual = fmax(quiet, USUAL_OF_HUM * sqrt(power_of(harmonic->hum))) + SMALLEST;
}

/* What is left of each harmonic in the period; returns how much larger than usual that is, as a ratio of powers. */
static double measure_steps(struct tt_hum_filter *filter)
{
    double over = 0.0;
    for (int h = 0; h < filter->count; h++) {
        struct harmonic *harmonic = &filter->harmonics[h];
        const float *c = filter->cosine + h * filter->period, *s = filter->sine + h * filter->period;
        harmonic->step.re = dot(filter->cleaned, c, filter->period) * 2.0 / filter->period;
        harmonic->step.im = -dot(filter->cleaned, s, filter->period) * 2.0 / filter->period;
        follow_usual(harmonic, sqrt(power_of(harmonic->step)) + SMALLEST);
        over += power_of(harmonic->step) / (harmonic->usual * harmonic->usual);
    }
    return over / (QUIET_MEAN_SQUARE * filter->count);
}

/* The further a step is out, and all of them together, the less it counts: that is a voice. */
static double trust_in(const struct harmonic *harmonic, double over)
{
    const double share = CLIP_OVER_USUAL * harmonic->usual / (sqrt(power_of(harmonic->step)) + SMALLEST);
    const double alone = share < 1.0 ? share * share * share : 1.0;
    const double together = over < LOUD ? 1.0 : LOUD * LOUD / (over * over);
    return alone * together;
}

/* Whether the hum itself has become another: loud steps, each like the one before. */
static bool hum_has_changed(struct tt_hum_filter *filter, double over)
{
    if (over < LOUD || filter->loud_periods == CHANGED_PERIODS)
        filter->loud_periods = 0;
    if (over < LOUD)
        return false;
    double same = 0.0, all = 0.0;
    for (int h = 0; h < filter->count; h++) {
        struct harmonic *harmonic = &filter->harmonics[h];
        if (filter->loud_periods == 0) {
            harmonic->alike = (struct phasor){0};
            harmonic->alike_power = 0.0;
        }
        add_share(&harmonic->alike, harmonic->step, 1.0);
        harmonic->alike_power += power_of(harmonic->step);
        const double weight = 1.0 / (harmonic->usual * harmonic->usual);
        same += weight * power_of(harmonic->alike) / CHANGED_PERIODS;
        all += weight * harmonic->alike_power;
    }
    return ++filter->loud_periods == CHANGED_PERIODS && all - same < CHANGED_SPREAD * same;
}

/* How far the mains have turned away from the oscillator within the period, as all harmonics together say, in radians
 * of the first; returns what of it is believed. */
static double follow_phase(struct tt_hum_filter *filter)
{
    double turned = 0.0, weight = 0.0;
    for (int h = 0; h < filter->count; h++) {
        const struct harmonic *harmonic = &filter->harmonics[h];
        const struct phasor hum = harmonic->hum, step = harmonic->step;
        const double per_noise = harmonic->trust / (harmonic->usual * harmonic->usual), number = harmonic->number;
        turned += per_noise * number * (hum.re * step.im - hum.im * step.re);
        weight += per_noise * number * number * power_of(hum);
    }
    return weight > SMALLEST ? tt_hum_phase_measured(&filter->phase, turned / weight, QUIET_MEAN_SQUARE / 2.0 / weight)
                             : 0.0;
}

static void follow_amplitude(struct tt_hum_filter *filter, struct harmonic *harmonic, bool changed)
{
    if (changed) {
        add_share(&harmonic->hum, harmonic->alike, 1.0 / CHANGED_PERIODS);
        harmonic->trusted = CHANGED_PERIODS;
        return;
    }
    /* At first all that was trusted counts alike, with "no hum" as if it had been heard once: a take may begin in a
     * word. */
    harmonic->trusted += harmonic->trust;
    const double even = 1.0 / (1.0 + harmonic->trusted), least = filter->period / (AVERAGING_S * filter->rate_hz);
    add_share(&harmonic->hum, harmonic->step, harmonic->trust * (even > least ? even : least));
}

static void end_period(struct tt_hum_filter *filter)
{
    const double over = measure_steps(filter);
    for (int h = 0; h < filter->count; h++)
        filter->harmonics[h].trust = trust_in(&filter->harmonics[h], over);
    const bool changed = hum_has_changed(filter, over);
    const double turn = filter->periods > 2 * START_PERIODS && !changed ? follow_phase(filter) : 0.0;
    const double period_turn = 2.0 * TT_PI * filter->base_hz * filter->period / filter->rate_hz + filter->phase.drift;
    tt_hum_phase_go_on(&filter->phase);
    for (int h = 0; h < filter->count; h++) {
        struct harmonic *harmonic = &filter->harmonics[h];
        harmonic->hum = turned_by(harmonic->hum, harmonic->number * turn);
        follow_amplitude(filter, harmonic, changed);
        harmonic->hum = turned_by(harmonic->hum, harmonic->number * period_turn);
        harmonic->alike = turned_by(harmonic->alike, harmonic->number * period_turn);
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
