/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A spectrogram of any length as small grey pictures, made while the sound streams by.
 *
 * A picture file holds strips of time, one below the other: TT_STRIP_COLUMNS columns wide, TT_PICTURE_BANDS rows high,
 * low bands at the bottom. The next strip goes on where the one above ended; TT_STRIPS_MOST make a file, then
 * PREFIX-0-1.png begins, and so on. A second series, PREFIX-1-N.png, holds the mean of eight columns in each, for long
 * views; it is not made where one strip is enough. */
#ifndef TT_PIPELINE_PICTURE_H
#define TT_PIPELINE_PICTURE_H

#include <stdbool.h>

#include "dsp/stft.h"

enum {
    TT_STRIP_COLUMNS = 1024,
    TT_PICTURE_BANDS = 80,
    TT_STRIPS_MOST = 12,
    TT_PICTURE_FRAMES = 2,
    TT_PICTURE_HOPS = 4,
    TT_PICTURE_ZOOM = 8
};

struct tt_picture;
/* The folder of prefix is made. */
struct tt_picture *tt_picture_create(struct tt_stft_shape shape, const char *prefix, struct tt_error *err);
/* The next frame: each TT_PICTURE_HOPS hops behind the last, scaled as tt_stft_powers. TT_PICTURE_FRAMES of them make a
 * column. */
bool tt_picture_add(struct tt_picture *picture, const float *power, struct tt_error *err);
/* The last column may be of one frame. Takes away what a longer sound left behind. Does not destroy it. */
bool tt_picture_finish(struct tt_picture *picture, struct tt_error *err);
void tt_picture_destroy(struct tt_picture *picture); /* NULL is fine */

/* Whether a first file of it is there. */
bool tt_picture_exists(const char *prefix);

#endif
