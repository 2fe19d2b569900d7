/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Change of sample rate by libsoxr's very-high-quality recipe; output length is exactly round(n * to / from). */
#ifndef TT_AUDIO_RESAMPLE_H
#define TT_AUDIO_RESAMPLE_H

#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"

struct tt_resampler;
struct tt_resampler *tt_resampler_create(int from_hz, int to_hz, struct tt_error *err);
/* Feeds count mono samples and writes what is ready to output (holding most); returns samples written, -1 on error.
 * Call with count 0 and samples NULL at the end until it returns 0. *used tells how many input samples were taken. */
int64_t tt_resampler_run(struct tt_resampler *resampler, const float *samples, size_t count, size_t *used,
                         float *output, size_t most, struct tt_error *err);
void tt_resampler_destroy(struct tt_resampler *resampler);

#endif
