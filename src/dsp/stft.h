/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Short-time Fourier transform: square-root Hann windows at 75 % overlap, exact overlap-add (FFTW single precision;
 * plans: dsp/fft_lock.c). */
#ifndef TT_DSP_STFT_H
#define TT_DSP_STFT_H

#include "base/fail.h"

/* Frame k is centred on sample k * hop. window = 4 * hop; about 21.3 ms and 5.33 ms at every rate (1024 and 256 at 48
 * kHz). */
struct tt_stft_shape {
    int rate_hz, window_samples, hop_samples, bin_count;
};
struct tt_stft_shape tt_stft_shape_for(int rate_hz);

struct tt_stft;
struct tt_stft *tt_stft_create(struct tt_stft_shape shape, struct tt_error *err);
void tt_stft_destroy(struct tt_stft *stft);

/* window_samples input samples -> bin_count real and as many imaginary parts. Input is not changed. */
void tt_stft_forward(struct tt_stft *stft, const float *samples, float *re, float *im);
/* Spectrum -> adds window_samples weighted samples to overlap. forward + inverse at all hops sum to the input (1e-6).
 * The imaginary parts of the first and last bins must be 0. */
void tt_stft_inverse(struct tt_stft *stft, const float *re, const float *im, float *overlap);
/* The spectrum's power alone, scaled so that white noise of power p (mean square of samples) reads p per bin on
 * average: power[k] = |X_k|^2 / sum(w^2), which is half the window's length. */
void tt_stft_powers(struct tt_stft *stft, const float *samples, float *power);

#endif
