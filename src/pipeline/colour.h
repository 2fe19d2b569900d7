/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The colour of a voice as a microphone gave it: how its speech lies in bands, level aside. */
#ifndef TT_PIPELINE_COLOUR_H
#define TT_PIPELINE_COLOUR_H

#include <stdint.h>

#include "dsp/stft.h"
#include "sheet/heard.h"

struct tt_colour {
    double sums[TT_COLOUR_BANDS];
    int64_t frames;
};

/* The power of a frame with speech in it; starts with all zeros. */
void tt_colour_add(struct tt_colour *colour, const struct tt_stft_shape *shape, const float *power);
/* NAN where there was too little speech. */
void tt_colour_sum_up(const struct tt_colour *colour, const struct tt_stft_shape *shape, float *colour_db);

#endif
