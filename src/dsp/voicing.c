/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/voicing.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/units.h"
#include "dsp/fast_math.h"

/* Two steps down: averages of three boxes to about 6 kHz, then a short low-pass to about 2 kHz, where a voice's lowest
 * harmonics are left. Voice periods 60-400 Hz (the usual span of speech, common practice), 40 ms compared. */
static const double middle_rate_hz = 6000.0, slow_rate_hz = 2000.0;
static const double lowest_pitch_hz = 60.0, highest_pitch_hz = 400.0;
static const double compared_ms = 40.0;
static const double passband_hz = 850.0;
enum { LANES = TT_LANES / 2, BOXES = 3, SLOW_TAPS = 25, MOST_LAGS = 64, MOST_COMPARED = 160 };

/* A decimating FIR filter fed in pieces. */
struct decimator {
    int factor, tap_count;
    int padded_count; /* with zeros behind, so that a sum has no rest; they meet samples that are not held any longer,
                         or not yet */
    float *taps;
    float *held; /* what is not used up yet */
    int held_count, held_room;
};

struct tt_voicing {
    int hop_samples;
    struct decimator first, second;
    float *middle; /* output of the first, input of the second, for one hop */
    float *slow;   /* the slow signal, newest last */
    int slow_count, slow_room;
    int64_t slow_dropped; /* slow samples that were thrown away before slow[0] */
    int64_t hops;         /* heard so far */
    double slow_per_sample, filter_delay_samples;
    int lag_first, lag_last, compared, delay_hops;
};

static bool decimator_open(struct decimator *decimator, int factor, int tap_count, int most_new)
{
    decimator->factor = factor;
    decimator->tap_count = tap_count;
    decimator->padded_count = (tap_count + LANES - 1) / LANES * LANES;
    decimator->held_room = tap_count + factor + most_new;
    decimator->taps = calloc((size_t)decimator->padded_count, sizeof(float));
    decimator->held = calloc((size_t)decimator->held_room + LANES, sizeof(float));
    decimator->held_count = tap_count - 1; /* silence before the start */
    return decimator->taps != NULL && decimator->held != NULL;
}

static bool boxes_design(struct decimator *decimator)
{
    double *taps = calloc((size_t)decimator->tap_count, sizeof(double)),
           *next = calloc((size_t)decimator->tap_count, sizeof(double));
    bool ok = taps != NULL && next != NULL;
    if (ok)
        taps[0] = 1.0;
    for (int box = 0; ok && box < BOXES; box++) {
        double sum = 0.0;
        for (int i = 0; i < decimator->tap_count; i++) {
            sum += taps[i] - (i >= decimator->factor ? taps[i - decimator->factor] : 0.0);
            next[i] = sum / decimator->factor;
        }
        memcpy(taps, next, (size_t)decimator->tap_count * sizeof(double));
    }
    for (int i = 0; ok && i < decimator->tap_count; i++)
        decimator->taps[i] = (float)taps[i];
    free(taps);
    free(next);
    return ok;
}

/* A windowed sinc. */
static void low_pass_design(struct decimator *decimator, double cutoff_of_rate)
{
    int middle = decimator->tap_count / 2;
    double sum = 0.0;
    for (int i = 0; i < decimator->tap_count; i++) {
        double x = i - middle, window = 0.5 + 0.5 * cos(TT_PI * x / (middle + 1));
        double tap =
            window * (i == middle ? 2.0 * cutoff_of_rate : sin(2.0 * TT_PI * cutoff_of_rate * x) / (TT_PI * x));
        decimator->taps[i] = (float)tap;
        sum += tap;
    }
    for (int i = 0; i < decimator->tap_count; i++)
        decimator->taps[i] = (float)(decimator->taps[i] / sum);
}

static inline float dot(const float *a, const float *b, int count)
{
    tt_half_lanes lane = {0};
    int i = 0;
    for (; i + LANES <= count; i += LANES)
        tt_half_lanes_add_products(&lane, a + i, b + i);
    float sum = ((lane[0] + lane[4]) + (lane[1] + lane[5])) + ((lane[2] + lane[6]) + (lane[3] + lane[7]));
    for (; i < count; i++)
        sum += a[i] * b[i];
    return sum;
}

TT_WIDE static int decimate(struct decimator *decimator, const float *samples, int count, float *output)
{
    memcpy(decimator->held + decimator->held_count, samples, (size_t)count * sizeof(float));
    decimator->held_count += count;
    int at = 0, made = 0;
    for (; at + decimator->tap_count <= decimator->held_count; at += decimator->factor)
        output[made++] = dot(decimator->held + at, decimator->taps, decimator->padded_count);
    decimator->held_count -= at;
    memmove(decimator->held, decimator->held + at, (size_t)decimator->held_count * sizeof(float));
    return made;
}

static int whole(double x) { return (int)floor(x + 0.5); }

struct tt_voicing *tt_voicing_create(int rate_hz, int hop_samples, struct tt_error *err)
{
    struct tt_voicing *v = calloc(1, sizeof *v);
    if (v == NULL) {
        tt_fail_memory(err);
        return NULL;
    }
    int first = whole(rate_hz / middle_rate_hz);
    if (first < 1)
        first = 1;
    double middle_hz = (double)rate_hz / first;
    int second = whole(middle_hz / slow_rate_hz);
    double slow_hz = middle_hz / second;
    v->hop_samples = hop_samples;
    v->slow_per_sample = slow_hz / rate_hz;
    v->lag_first = (int)(slow_hz / highest_pitch_hz);
    v->lag_last = (int)ceil(slow_hz / lowest_pitch_hz);
    v->compared = whole(compared_ms * slow_hz / 1000.0);
    int first_taps = BOXES * (first - 1) + 1;
    v->filter_delay_samples = (first_taps - 1) / 2.0 + (SLOW_TAPS - 1) / 2.0 * first;
    double span_samples = (v->compared + v->lag_last + 2) / v->slow_per_sample + 2.0 * v->filter_delay_samples;
    v->delay_hops = (int)ceil(span_samples / hop_samples) + 1;
    v->slow_room = whole((v->delay_hops + 4.0) * hop_samples * v->slow_per_sample) + v->compared + v->lag_last + 64;
    v->middle = calloc((size_t)hop_samples / (size_t)first + 2, sizeof(float));
    v->slow = calloc((size_t)v->slow_room, sizeof(float));
    bool ok = decimator_open(&v->first, first, first_taps, hop_samples);
    ok = decimator_open(&v->second, second, SLOW_TAPS, hop_samples / first + 2) && ok && boxes_design(&v->first);
    if (!ok || v->middle == NULL || v->slow == NULL || v->lag_last >= MOST_LAGS || v->compared > MOST_COMPARED) {
        tt_fail_memory(err);
        tt_voicing_destroy(v);
        return NULL;
    }
    low_pass_design(&v->second, passband_hz / middle_hz);
    return v;
}

void tt_voicing_destroy(struct tt_voicing *voicing)
{
    if (voicing == NULL)
        return;
    free(voicing->first.taps);
    free(voicing->first.held);
    free(voicing->second.taps);
    free(voicing->second.held);
    free(voicing->middle);
    free(voicing->slow);
    free(voicing);
}

int tt_voicing_delay_hops(const struct tt_voicing *voicing) { return voicing->delay_hops; }

void tt_voicing_skip(struct tt_voicing *v, const float *samples)
{
    int made = decimate(&v->first, samples, v->hop_samples, v->middle);
    int most_new = made / v->second.factor + 2;
    if (v->slow_count + most_new > v->slow_room) {
        int drop = v->slow_count + most_new - v->slow_room;
        v->slow_count -= drop;
        v->slow_dropped += drop;
        memmove(v->slow, v->slow + drop, (size_t)v->slow_count * sizeof(float));
    }
    v->slow_count += decimate(&v->second, v->middle, made, v->slow + v->slow_count);
    v->hops++;
}

/* The height of the parabola through three neighbours. */
static float peak_between(float left, float middle, float right)
{
    float bend = left - 2.0f * middle + right;
    if (!(bend < 0.0f))
        return middle;
    float slope = 0.5f * (right - left);
    return middle - 0.5f * slope * slope / bend;
}

TT_WIDE static float highest_likeness(const struct tt_voicing *v, const float *x)
{
    float likeness[MOST_LAGS + 1];
    int lag0 = v->lag_first - 1, count = v->lag_last - lag0 + 2;
    float here = dot(x, x, v->compared);
    float there = dot(x + lag0, x + lag0, v->compared);
    for (int i = 0; i < count; i++) {
        const float *y = x + lag0 + i;
        float both = here * there;
        likeness[i] = both > 1e-30f ? dot(x, y, v->compared) / sqrtf(both) : 0.0f;
        there += y[v->compared] * y[v->compared] - y[0] * y[0];
        if (there < 0.0f)
            there = 0.0f;
    }
    float best = 0.0f;
    for (int i = 1; i + 1 < count; i++) {
        if (likeness[i] < likeness[i - 1] || likeness[i] < likeness[i + 1])
            continue;
        float peak = peak_between(likeness[i - 1], likeness[i], likeness[i + 1]);
        if (peak > best)
            best = peak;
    }
    return best > 1.0f ? 1.0f : best;
}

float tt_voicing_next(struct tt_voicing *v, const float *samples)
{
    double centre = (double)(v->hops - v->delay_hops) * v->hop_samples + v->filter_delay_samples;
    tt_voicing_skip(v, samples);
    int span = v->compared + v->lag_last + 2;
    int64_t from = (int64_t)floor(centre * v->slow_per_sample) - (v->compared + (v->lag_first + v->lag_last) / 2) / 2 -
                   v->slow_dropped;
    if (from < 0 || from + span > v->slow_count)
        return 0.0f;
    return highest_likeness(v, v->slow + from);
}
