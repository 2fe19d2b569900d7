/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a moment of speech sounds like, in eight numbers: mel-frequency cepstra, quantised for keeping. */
#ifndef TT_DSP_CEPSTRA_H
#define TT_DSP_CEPSTRA_H

#include <stdint.h>

#include "base/fail.h"
#include "dsp/stft.h"

enum { TT_CEPSTRA = 8, TT_MEL_BANDS = 26 };

/* 26 mel bands 80-7000 Hz (or to 0.45 * rate at low rates), log power, DCT-II, coefficients 1..8. */
struct tt_cepstra;
struct tt_cepstra *tt_cepstra_create(struct tt_stft_shape shape, struct tt_error *err);
void tt_cepstra_destroy(struct tt_cepstra *cepstra);
/* power: the mean power spectrum of the (two) STFT frames that the feature frame covers, scaled as tt_stft_powers.
 * Returns what the coefficients leave out: the mean level of the bands (mean square a bin), in whole dB. */
int8_t tt_cepstra_of(const struct tt_cepstra *cepstra, const float *power, int8_t quantised[TT_CEPSTRA]);
/* What two moments differ by: the root mean square over the bands, as far as eight coefficients and the level tell. */
float tt_cepstra_apart_db(const int8_t a[TT_CEPSTRA], int8_t a_level_db, const int8_t b[TT_CEPSTRA], int8_t b_level_db);
/* It looks at the bins below this one only. */
int tt_cepstra_bins(const struct tt_cepstra *cepstra);
/* The centre of a band of `band_count` triangles between two frequencies, evenly spaced in mel. */
double tt_mel_centre_hz(double from_hz, double to_hz, int band, int band_count);
/* One step of the quantised values in natural-log units. */
extern const float tt_cepstra_step;

#endif
