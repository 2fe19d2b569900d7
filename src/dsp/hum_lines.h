/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The lines of a spectrum at multiples of a mains frequency, held against their neighbours. */
#ifndef TT_DSP_HUM_LINES_H
#define TT_DSP_HUM_LINES_H

#include <fftw3.h>

#include "dsp/hum.h"

struct tt_hum_spectrum {
    fftwf_complex *bins; /* transform_count / 2 + 1 of them */
    int transform_count;
    double bin_hz;
};

enum { TT_HUM_LEVELS = 121 };

/* What is gathered of one mains frequency; begins with base_hz and zeros. */
struct tt_hum_candidate {
    int base_hz;
    double frequency_sum, frequency_weight;
    int found;                                      /* stretches that show it */
    int histogram[TT_HUM_HARMONICS][TT_HUM_LEVELS]; /* of each line's level over its neighbours, half dB from -20 */
};

/* Looks through the spectrum of one more stretch. */
void tt_hum_lines_judge(struct tt_hum_candidate *candidate, const struct tt_hum_spectrum *spectrum);

/* The lines that stand out in most stretches, and the sum of their levels; base_hz is 0 where too few do. */
struct tt_hum tt_hum_lines_result(const struct tt_hum_candidate *candidate, double *sum_db);

#endif
