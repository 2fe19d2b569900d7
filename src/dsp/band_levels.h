/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A power spectrum as the levels of eight bands, 100-7800 Hz (as far as the rate reaches), lightly smoothed over time.
 */
#ifndef TT_DSP_BAND_LEVELS_H
#define TT_DSP_BAND_LEVELS_H

#include <stdbool.h>

#include "dsp/fast_math.h"
#include "dsp/stft.h"

enum { TT_BANDS = 8, TT_BANDS_DELAY = 2 };

/* Which bins make up each band: first_bin[b] <= bin < first_bin[b + 1]. */
struct tt_band_plan {
    int band_count, first_bin[TT_BANDS + 1];
    float bins_in_all;
    double width_hz[TT_BANDS];
};
struct tt_band_plan tt_band_plan_for(struct tt_stft_shape shape);

/* Mean powers per bin of a frame: in each band, in all bands together, and over the whole spectrum (its mean square).
 */
struct tt_band_powers {
    float band[TT_BANDS], all, whole;
};
/* The share of the bins of all bands that the two lowest have: 100-600 Hz, where a voice's first harmonics are. */
float tt_band_low_share(const struct tt_band_plan *plan);
/* A sum in an order that is ours and that wide registers can follow. */
float tt_sum_of(const float *values, int count);
struct tt_band_powers tt_band_powers_of(const struct tt_band_plan *plan, const float *power, int bin_count);

/* Weighted 1 2 3 2 1 over five frames: short enough to show the 40 ms between a breath and a word. Frames beyond the
 * ends do not count. recent: the frames k-4..k, the newest last; have: which of them exist. */
struct tt_band_powers tt_band_powers_smooth(const struct tt_band_powers recent[5], const bool have[5]);

/* 10 * log10 of a power, -140 at and under 1e-14. */
static inline float tt_level_db_of(float power) { return power > 1e-14f ? 3.01029996f * tt_fast_log2(power) : -140.0f; }
/* The other way; level_db within +-370. */
static inline float tt_power_of_level(float level_db) { return tt_fast_exp2(0.332192809f * level_db); }

#endif
