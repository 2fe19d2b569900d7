/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A stream of samples cut into STFT frames: frame k is centred on sample k * hop, the stream is led in and out by
 * silence. */
#ifndef TT_PIPELINE_FRAMER_H
#define TT_PIPELINE_FRAMER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "dsp/stft.h"

struct tt_framer;
/* power and samples (hop_samples from the frame's centre on) are borrowed for the call; false ends the work. */
typedef bool (*tt_frame_taker)(void *context, int64_t index, const float *power, const float *samples,
                               struct tt_error *err);

struct tt_framer *tt_framer_create(struct tt_stft_shape shape, tt_frame_taker taker, void *context,
                                   struct tt_error *err);
bool tt_framer_add(struct tt_framer *framer, const float *samples, size_t count, struct tt_error *err);
/* Every sample is the centre hop of a frame in the end; the last hop is filled up with silence. */
bool tt_framer_finish(struct tt_framer *framer, struct tt_error *err);
void tt_framer_destroy(struct tt_framer *framer);

#endif
