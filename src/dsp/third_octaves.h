/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A power spectrum as one-third-octave bands, 100 Hz to 16 kHz (IEC 61260-1: exact centres 10^(n/10), edges a sixth of
 * an octave on either side). */
#ifndef TT_DSP_THIRD_OCTAVES_H
#define TT_DSP_THIRD_OCTAVES_H

#include "dsp/stft.h"

enum { TT_THIRDS = 23 };

double tt_third_centre_hz(int band);
/* Mean square in each band, of bins scaled as tt_stft_powers; a bin that an edge cuts counts with its share. 0 above
 * half the rate. */
void tt_third_octaves(struct tt_stft_shape shape, const double *power, double *thirds);

#endif
