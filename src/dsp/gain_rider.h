/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The course of a limiter's gain: from what each interval demands to a smooth reduction that meets all demands in time.
 */
#ifndef TT_DSP_GAIN_RIDER_H
#define TT_DSP_GAIN_RIDER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Reductions are 1 - gain in units of 2^-30. Whole numbers, so that running sums stay exact and come back to nothing.
 */
enum { TT_REDUCTION_BITS = 30 };

struct tt_demand {
    uint64_t interval;
    int64_t reduction;
};

struct tt_gain_rider {
    size_t box_samples;        /* two moving averages of this length smooth the way down */
    size_t ahead_samples;      /* a demand is met this long before its interval */
    size_t hold_samples;       /* and kept this long behind it */
    int64_t release_share;     /* of the reduction that goes back each sample, in 2^-32 */
    struct tt_demand *demands; /* a ring: the falling maxima within reach, the first the largest */
    size_t demand_room, demand_first, demand_count;
    int64_t held;
    int64_t *boxes[2];
    int64_t sums[2];
    size_t box_at;
};

/* context_samples: how far around an interval its reduction is to be level. */
bool tt_gain_rider_init(struct tt_gain_rider *rider, int rate_hz, size_t context_samples);
void tt_gain_rider_clear(struct tt_gain_rider *rider);

/* Takes the demand (0 for none) of the next interval; the gain is that of sample interval - ahead_samples. */
double tt_gain_rider_step(struct tt_gain_rider *rider, uint64_t interval, int64_t reduction);

/* The same for count intervals from one on: gains[i] is for demand i. Returns the least of them. */
double tt_gain_rider_run(struct tt_gain_rider *rider, uint64_t interval, const int64_t *demands, size_t count,
                         double *gains);

/* Nothing demanded, held or still in the smoothing: steps without demand would all return 1. */
bool tt_gain_rider_is_idle(const struct tt_gain_rider *rider);

#endif
