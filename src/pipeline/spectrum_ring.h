/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A frame's power spectrum waits until the listener knows whether somebody speaks in it: the upper half of each float,
 * rounded (0.02 dB). */
#ifndef TT_PIPELINE_SPECTRUM_RING_H
#define TT_PIPELINE_SPECTRUM_RING_H

#include <stdbool.h>
#include <stdint.h>

#include "base/fail.h"

struct tt_spectrum_ring {
    uint16_t *rows;
    int64_t row_count;
    int bin_count;
};

bool tt_spectrum_ring_create(struct tt_spectrum_ring *ring, int64_t rows, int bin_count, struct tt_error *err);
void tt_spectrum_ring_free(struct tt_spectrum_ring *ring);
void tt_spectrum_ring_put(struct tt_spectrum_ring *ring, int64_t frame, const float *power);
void tt_spectrum_ring_get(const struct tt_spectrum_ring *ring, int64_t frame, float *power);

#endif
