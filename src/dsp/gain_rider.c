/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/gain_rider.h"

#include <math.h>
#include <stdlib.h>

#include "base/wide.h"

/* Common practice, no source: longer than half a period of the lowest voice (and of 20 Hz), so that a steady tone is
 * turned down by a steady gain, and a release that is slow against a syllable. */
static const double hold_ms = 25.0;
static const double release_ms = 100.0;

/* Common practice, no source: down within 3 ms, too soon to be heard as a fade and too slowly for a click; at low rates
 * at least so many samples that the gain is nearly level over an interpolator's reach. */
static const double box_ms = 1.5;
static const size_t least_box_samples = 64;

/* A thousandth, in reductions: 0.009 dB. */
static const int64_t past_nothing = (1LL << TT_REDUCTION_BITS) / 1000;

static size_t samples_of_ms(double ms, int rate_hz, size_t least)
{
    const size_t samples = (size_t)floor(ms * rate_hz / 1000.0 + 0.5);
    return samples < least ? least : samples;
}

bool tt_gain_rider_init(struct tt_gain_rider *rider, int rate_hz, size_t context_samples)
{
    *rider = (struct tt_gain_rider){
        .box_samples = samples_of_ms(box_ms, rate_hz, least_box_samples),
        .hold_samples = samples_of_ms(hold_ms, rate_hz, 1) + context_samples,
        .release_share = (int64_t)(4294967296.0 * 1000.0 / (release_ms * rate_hz)),
    };
    /* Both boxes together reach back over 2 * box - 1 values. */
    rider->ahead_samples = 2 * rider->box_samples - 2 + context_samples;
    rider->demand_room = rider->ahead_samples + rider->hold_samples + 3;
    rider->demands = calloc(rider->demand_room, sizeof *rider->demands);
    for (int i = 0; i < 2; i++)
        rider->boxes[i] = calloc(rider->box_samples, sizeof *rider->boxes[i]);
    if (rider->demands != NULL && rider->boxes[0] != NULL && rider->boxes[1] != NULL)
        return true;
    tt_gain_rider_clear(rider);
    return false;
}

void tt_gain_rider_clear(struct tt_gain_rider *rider)
{
    free(rider->demands);
    free(rider->boxes[0]);
    free(rider->boxes[1]);
    *rider = (struct tt_gain_rider){0};
}

static size_t demand_place(const struct tt_gain_rider *rider, size_t index)
{
    const size_t place = rider->demand_first + index;
    return place < rider->demand_room ? place : place - rider->demand_room;
}

/* Largest demand within reach; smaller ones in front of a larger one can never count again. */
static int64_t largest_demand(struct tt_gain_rider *rider, uint64_t interval, int64_t reduction)
{
    const uint64_t reach = rider->ahead_samples + rider->hold_samples + 1;
    while (rider->demand_count > 0 &&
           rider->demands[demand_place(rider, rider->demand_count - 1)].reduction <= reduction)
        rider->demand_count--;
    if (reduction > 0)
        rider->demands[demand_place(rider, rider->demand_count++)] = (struct tt_demand){interval, reduction};
    if (rider->demand_count > 0 && rider->demands[rider->demand_first].interval + reach < interval) {
        rider->demand_first = demand_place(rider, 1);
        rider->demand_count--;
    }
    return rider->demand_count > 0 ? rider->demands[rider->demand_first].reduction : 0;
}

/* The way back is one towards a little past nothing, so that it ends: else a limiter would work on for two seconds
 * behind each peak, nobody hears on what. */
static int64_t released(const struct tt_gain_rider *rider)
{
    const int64_t step = (((rider->held + past_nothing) * rider->release_share) >> 32) + 1;
    return rider->held > step ? rider->held - step : 0;
}

static int64_t hold(struct tt_gain_rider *rider, uint64_t interval, int64_t reduction)
{
    const bool is_demanded = reduction > 0 || rider->demand_count > 0;
    const int64_t demanded = is_demanded ? largest_demand(rider, interval, reduction) : 0;
    if (demanded >= rider->held) /* the next need not wait for what it would go back to */
        return rider->held = demanded;
    const int64_t back = released(rider);
    return rider->held = demanded > back ? demanded : back;
}

/* Whether nothing new is demanded in a part, and what was demanded before lasts through it. */
static bool is_level(const struct tt_gain_rider *rider, uint64_t interval, const int64_t *demands, size_t count)
{
    const uint64_t reach = rider->ahead_samples + rider->hold_samples + 1;
    int64_t any = 0;
    for (size_t i = 0; i < count; i++)
        any |= demands[i];
    return any == 0 &&
           (rider->demand_count == 0 || rider->demands[rider->demand_first].interval + reach >= interval + (count - 1));
}

/* A level part, to the same numbers as one by one. */
static void hold_level(struct tt_gain_rider *rider, int64_t *reductions, size_t count)
{
    const int64_t demanded = rider->demand_count > 0 ? rider->demands[rider->demand_first].reduction : 0;
    for (size_t i = 0; i < count; i++) {
        const int64_t back = rider->held > demanded ? released(rider) : demanded;
        reductions[i] = rider->held = demanded > back ? demanded : back;
    }
}

/* Reductions through the two boxes, in place, times both; returns the largest. */
static int64_t smooth(struct tt_gain_rider *rider, int64_t *values, size_t count)
{
    int64_t largest = 0;
    while (count > 0) {
        const size_t room = rider->box_samples - rider->box_at, part = count < room ? count : room;
        int64_t *first = rider->boxes[0] + rider->box_at, *second = rider->boxes[1] + rider->box_at;
        int64_t first_sum = rider->sums[0], second_sum = rider->sums[1];
        for (size_t i = 0; i < part; i++) {
            first_sum += values[i] - first[i];
            first[i] = values[i];
            second_sum += first_sum - second[i];
            second[i] = first_sum;
            values[i] = second_sum;
            largest = second_sum > largest ? second_sum : largest;
        }
        rider->sums[0] = first_sum;
        rider->sums[1] = second_sum;
        rider->box_at = part < room ? rider->box_at + part : 0;
        values += part;
        count -= part;
    }
    return largest;
}

static double whole_of(const struct tt_gain_rider *rider)
{
    const double boxes = (double)rider->box_samples * (double)rider->box_samples;
    return boxes * (double)(1LL << TT_REDUCTION_BITS);
}

double tt_gain_rider_step(struct tt_gain_rider *rider, uint64_t interval, int64_t reduction)
{
    int64_t value = hold(rider, interval, reduction);
    smooth(rider, &value, 1);
    return 1.0 - (double)value / whole_of(rider);
}

TT_WIDE static void divide(const int64_t *reductions, double *gains, size_t count, double whole)
{
    for (size_t i = 0; i < count; i++)
        gains[i] = 1.0 - (double)reductions[i] / whole;
}

double tt_gain_rider_run(struct tt_gain_rider *rider, uint64_t interval, const int64_t *demands, size_t count,
                         double *gains)
{
    enum { PART = 32 };
    int64_t reductions[PART], largest = 0;
    for (size_t at = 0; at < count; at += PART) {
        const size_t part = count - at < PART ? count - at : PART;
        if (is_level(rider, interval + at, demands + at, part))
            hold_level(rider, reductions, part);
        else
            for (size_t i = 0; i < part; i++)
                reductions[i] = hold(rider, interval + at + i, demands[at + i]);
        const int64_t of_part = smooth(rider, reductions, part);
        largest = of_part > largest ? of_part : largest;
        divide(reductions, gains + at, part, whole_of(rider));
    }
    return 1.0 - (double)largest / whole_of(rider);
}

bool tt_gain_rider_is_idle(const struct tt_gain_rider *rider)
{
    return rider->demand_count == 0 && rider->held == 0 && rider->sums[0] == 0 && rider->sums[1] == 0;
}
