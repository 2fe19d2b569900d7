/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two passes of the same kind work in place on one stretch of sound, the second behind the first. A gain that moves
 * shifts what lies between samples: where it has just begun to fall, by up to (sum of |tap * distance|)^2 / (2 * box^2)
 * of the fall, some 0.02 dB at worst. The second pass takes that back, and what it could leave itself is a thousandth
 * of it. */
#include "dsp/limiter.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "base/wide.h"
#include "dsp/gain_rider.h"
#include "dsp/interpolator.h"

enum {
    PASSES = TT_LIMITER_PASSES,
    CHUNK = 2048,
    SKIP = 512, /* intervals passed over at once where all is quiet */
    CONTEXT = TT_INTERPOLATOR_AHEAD
};

/* Kept free under the ceiling for dither and for meters with another kernel. */
static const double margin_db = 0.02;

struct limiter_pass {
    struct tt_gain_rider rider;
    size_t next_interval; /* to be looked at, and ... */
    size_t next_sample;   /* ... to be turned down, both as places in samples */
    double least_gain;
};

struct tt_limiter {
    struct tt_interpolator interpolator;
    float gain;
    float ceiling;
    struct limiter_pass passes[PASSES];
    size_t latency;
    size_t skip;         /* samples of the silence in front that are still to come out */
    uint64_t owed;       /* input samples that did not come out yet */
    uint64_t origin;     /* number of samples[0] in the stream, counted from the silence in front */
    int64_t silence;     /* samples of it */
    int64_t most_demand; /* of the first pass */
    tt_limiter_told told;
    void *told_context;
    float *samples;
    size_t filled, room;
};

static bool create_passes(struct tt_limiter *limiter, int rate_hz)
{
    for (int i = 0; i < PASSES; i++) {
        struct limiter_pass *pass = &limiter->passes[i];
        if (!tt_gain_rider_init(&pass->rider, rate_hz, CONTEXT))
            return false;
        pass->least_gain = 1.0;
        pass->next_interval = pass->rider.ahead_samples;
        limiter->latency += pass->rider.ahead_samples + CONTEXT;
    }
    /* Silence in front, so that the first sample can be a peak as any other. */
    limiter->skip = limiter->filled = 2 * limiter->latency + 2 * TT_INTERPOLATOR_TAPS;
    limiter->silence = (int64_t)limiter->skip;
    limiter->room = limiter->filled + limiter->latency + CHUNK;
    limiter->samples = calloc(limiter->room, sizeof *limiter->samples);
    return limiter->samples != NULL;
}

struct tt_limiter *tt_limiter_create(int rate_hz, double gain, double ceiling, struct tt_error *err)
{
    if (rate_hz <= 0 || !(ceiling > 0.0) || !isfinite(gain)) {
        tt_fail(err, TT_ERROR_INTERNAL, "limiter: gain %g, ceiling %g at %d Hz", gain, ceiling, rate_hz);
        return NULL;
    }
    struct tt_limiter *limiter = calloc(1, sizeof *limiter);
    if (limiter == NULL || !create_passes(limiter, rate_hz)) {
        tt_limiter_destroy(limiter);
        tt_fail_memory(err);
        return NULL;
    }
    tt_interpolator_init(&limiter->interpolator);
    limiter->gain = (float)gain;
    limiter->ceiling = (float)(ceiling * tt_amplitude_from_db(-margin_db));
    return limiter;
}

void tt_limiter_destroy(struct tt_limiter *limiter)
{
    if (limiter == NULL)
        return;
    for (int i = 0; i < PASSES; i++)
        tt_gain_rider_clear(&limiter->passes[i].rider);
    free(limiter->samples);
    free(limiter);
}

void tt_limiter_tell(struct tt_limiter *limiter, tt_limiter_told told, void *context)
{
    limiter->told = told;
    limiter->told_context = context;
}

/* What an interval at a place of samples demands, rounded up. */
static int64_t demand_at(struct tt_limiter *limiter, const struct limiter_pass *pass, size_t interval)
{
    const double peak = (double)tt_interpolator_peak(&limiter->interpolator, limiter->samples + interval);
    const double ceiling = (double)limiter->ceiling;
    if (!(peak > ceiling))
        return 0;
    const int64_t demand = (int64_t)ceil((1.0 - ceiling / peak) * (double)(1LL << TT_REDUCTION_BITS));
    if (pass == limiter->passes && demand > limiter->most_demand)
        limiter->most_demand = demand;
    if (limiter->told != NULL) {
        const int64_t place = (int64_t)(limiter->origin + interval) - limiter->silence;
        limiter->told(limiter->told_context,
                      &(struct tt_limiter_demand){place, (int32_t)demand, (int32_t)(pass - limiter->passes)});
    }
    return demand;
}

TT_WIDE static void turn_down(float *samples, const double *gains, size_t count)
{
    for (size_t i = 0; i < count; i++)
        samples[i] = (float)((double)samples[i] * gains[i]); /* a gain of 1 changes nothing */
}

/* At most TT_INTERPOLATOR_SCREEN intervals: what they turn down lies so far behind that none of them looks at it. */
static void run_intervals(struct tt_limiter *limiter, struct limiter_pass *pass, uint32_t mask, size_t count)
{
    int64_t demands[TT_INTERPOLATOR_SCREEN] = {0};
    double gains[TT_INTERPOLATOR_SCREEN];
    for (size_t i = 0; mask != 0; i++, mask >>= 1)
        if ((mask & 1U) != 0)
            demands[i] = demand_at(limiter, pass, pass->next_interval + i);
    const double least = tt_gain_rider_run(&pass->rider, limiter->origin + pass->next_interval, demands, count, gains);
    turn_down(limiter->samples + pass->next_sample, gains, count);
    pass->least_gain = least < pass->least_gain ? least : pass->least_gain;
    pass->next_interval += count;
    pass->next_sample += count;
}

static bool is_quiet(const struct tt_limiter *limiter, const struct limiter_pass *pass, size_t count)
{
    const float *first = limiter->samples + pass->next_interval - TT_INTERPOLATOR_BEHIND;
    const float peak = tt_sample_peak(first, count + TT_INTERPOLATOR_TAPS - 1);
    return peak * limiter->interpolator.sample_bound <= limiter->ceiling;
}

/* All intervals whose samples are final up to ready. */
static void run_pass(struct tt_limiter *limiter, struct limiter_pass *pass, size_t ready)
{
    while (pass->next_interval + CONTEXT < ready) {
        size_t count = ready - CONTEXT - pass->next_interval;
        const bool is_idle = tt_gain_rider_is_idle(&pass->rider);
        const size_t most = is_idle ? SKIP : TT_INTERPOLATOR_SCREEN;
        count = count < most ? count : most;
        uint32_t mask = 0;
        if (!is_idle || !is_quiet(limiter, pass, count)) {
            count = count < TT_INTERPOLATOR_SCREEN ? count : TT_INTERPOLATOR_SCREEN;
            mask = tt_interpolator_screen(&limiter->interpolator, limiter->samples + pass->next_interval, count,
                                          limiter->ceiling);
        }
        if (!is_idle || mask != 0) {
            run_intervals(limiter, pass, mask, count);
        } else {
            pass->next_interval += count;
            pass->next_sample += count;
        }
    }
}

static void drop(struct tt_limiter *limiter, size_t count)
{
    limiter->filled -= count;
    limiter->origin += count;
    memmove(limiter->samples, limiter->samples + count, limiter->filled * sizeof *limiter->samples);
    for (int i = 0; i < PASSES; i++) {
        limiter->passes[i].next_interval -= count;
        limiter->passes[i].next_sample -= count;
    }
}

/* Runs what can be run, writes what is final. */
static size_t advance(struct tt_limiter *limiter, float *output)
{
    size_t ready = limiter->filled;
    for (int i = 0; i < PASSES; i++) {
        run_pass(limiter, &limiter->passes[i], ready);
        ready = limiter->passes[i].next_sample;
    }
    const size_t skip = ready < limiter->skip ? ready : limiter->skip;
    size_t count = ready - skip;
    count = count < limiter->owed ? count : (size_t)limiter->owed;
    memcpy(output, limiter->samples + skip, count * sizeof *output);
    limiter->skip -= skip;
    limiter->owed -= count;
    drop(limiter, ready);
    return count;
}

size_t tt_limiter_run(struct tt_limiter *limiter, const float *samples, size_t count, float *output)
{
    size_t written = 0;
    while (count > 0) {
        const size_t room = limiter->room - limiter->filled, part = count < room ? count : room;
        for (size_t i = 0; i < part; i++)
            limiter->samples[limiter->filled + i] = samples[i] * limiter->gain;
        limiter->filled += part;
        limiter->owed += part;
        samples += part;
        count -= part;
        /* Always as many at once, so that demands are told in the same order however the stream is cut. */
        if (limiter->filled == limiter->room)
            written += advance(limiter, output + written);
    }
    return written;
}

size_t tt_limiter_finish(struct tt_limiter *limiter, float *output)
{
    size_t written = 0;
    while (limiter->owed > 0) {
        const size_t room = limiter->room - limiter->filled;
        memset(limiter->samples + limiter->filled, 0, room * sizeof *limiter->samples);
        limiter->filled += room;
        written += advance(limiter, output + written);
    }
    return written;
}

size_t tt_limiter_latency(const struct tt_limiter *limiter) { return limiter->room; }

double tt_limiter_most_db(const struct tt_limiter *limiter)
{
    double gain = 1.0;
    for (int i = 0; i < PASSES; i++)
        gain *= limiter->passes[i].least_gain;
    return gain < 1.0 ? -tt_db_from_amplitude(gain) : 0.0;
}

double tt_limiter_over_db(const struct tt_limiter *limiter)
{
    const double left = 1.0 - (double)limiter->most_demand / (double)(1LL << TT_REDUCTION_BITS);
    return fmax(0.0, -tt_db_from_amplitude(left) - margin_db);
}
