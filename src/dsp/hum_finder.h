/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within the hum finder: what it gathers. */
#ifndef TT_DSP_HUM_FINDER_H
#define TT_DSP_HUM_FINDER_H

#include <fftw3.h>

#include "dsp/hum.h"

enum { TT_HUM_LEVELS = 121 };

struct tt_hum_candidate {
    int base_hz;
    double frequency_sum, frequency_weight;
    int found;                                      /* stretches that show it */
    int histogram[TT_HUM_HARMONICS][TT_HUM_LEVELS]; /* of each line's level over its neighbours, half dB from -20 */
};

struct tt_hum_finder {
    int step, tap_count;
    double low_rate_hz;
    float *taps, *fifo;
    int fifo_count;
    int stretch_count, frame_count, transform_count;
    float *stretch; /* decimated samples */
    int stretch_have;
    int64_t stretches;   /* that could be judged */
    int64_t looked_at;   /* that were looked at */
    int64_t passed_over; /* samples of the stream still to be passed over */
    struct tt_hum_candidate candidates[2];
    int candidate_count;
    float *block;
    fftwf_complex *spectrum;
    fftwf_plan plan;
};

#endif
