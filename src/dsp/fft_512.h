/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The complex transform of 512 that frames at 48 kHz need, real and imaginary parts apart: three passes of eights. With
 * AVX-512 FFTW, whose codelets are no wider than Debian builds them, takes 1.3 times as long; with AVX2 as long, and in
 * narrower vectors than that ours is slow (measured). */
#ifndef TT_DSP_FFT_512_H
#define TT_DSP_FFT_512_H

#include <stdbool.h>

enum { TT_FFT_512 = 512 };

/* Whether it is, on this processor, than FFTW's. */
bool tt_fft_512_is_quicker(void);

/* out[k] = sum of in[n] e^(-2 pi i n k / 512). Parts exchanged, in and out, it is the way back (FFTW manual, 'Guru
 * Complex DFTs'). in is not changed; room: 2 * 512 floats for what lies between. No two may overlap. */
void tt_fft_512(const float *in_re, const float *in_im, float *room, float *out_re, float *out_im);

#endif
