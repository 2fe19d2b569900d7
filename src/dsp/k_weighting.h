/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The two filters in front of every loudness measurement (ITU-R BS.1770-5 Annex 1), at any rate. */
#ifndef TT_DSP_K_WEIGHTING_H
#define TT_DSP_K_WEIGHTING_H

#include <stddef.h>

#include "base/fail.h"

/* b0 + b1 z^-1 + b2 z^-2 over 1 + a1 z^-1 + a2 z^-2 */
struct tt_biquad {
    double b0, b1, b2, a1, a2;
};
struct tt_biquad tt_k_shelf(int rate_hz);
struct tt_biquad tt_k_highpass(int rate_hz);

struct tt_k_weighting;
struct tt_k_weighting *tt_k_weighting_create(int rate_hz, struct tt_error *err);
void tt_k_weighting_destroy(struct tt_k_weighting *filter);

/* Filters the next samples; returns the sum of the squared output, 0 where that is not finite. Fastest for steps of
 * about 10 ms; how a stream is cut changes the last digits, so cut it at fixed places. */
double tt_k_weighting_energy(struct tt_k_weighting *filter, const float *samples, size_t count);

#endif
