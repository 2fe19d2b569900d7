/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The two filters in front of every loudness measurement (ITU-R BS.1770-5 Annex 1), at any rate. */
#ifndef TT_DSP_K_WEIGHTING_H
#define TT_DSP_K_WEIGHTING_H

#include <stddef.h>

/* b0 + b1 z^-1 + b2 z^-2 over 1 + a1 z^-1 + a2 z^-2 */
struct tt_biquad { double b0, b1, b2, a1, a2; };
struct tt_biquad tt_k_shelf(int rate_hz);
struct tt_biquad tt_k_highpass(int rate_hz);

/* Plain data, one for each channel; start with tt_k_weighting_init. */
struct tt_k_weighting {
    struct tt_biquad shelf, highpass;
    double shelf_state[2], highpass_state[2];
};
void tt_k_weighting_init(struct tt_k_weighting *filter, int rate_hz);

/* Filters the next samples; returns the sum of the squared output. 0 where it is not finite. */
double tt_k_weighting_energy(struct tt_k_weighting *filter, const float *samples, size_t count);

#endif
