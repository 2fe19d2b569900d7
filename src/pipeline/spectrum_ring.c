/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/spectrum_ring.h"

#include <stdlib.h>
#include <string.h>

#include "base/large.h"
#include "base/wide.h"

bool tt_spectrum_ring_create(struct tt_spectrum_ring *ring, int64_t rows, int bin_count, struct tt_error *err)
{
    ring->row_count = rows;
    ring->bin_count = bin_count;
    ring->rows = tt_alloc_large((size_t)rows * (size_t)bin_count * sizeof *ring->rows);
    return ring->rows || tt_fail_memory(err);
}

void tt_spectrum_ring_free(struct tt_spectrum_ring *ring)
{
    free(ring->rows);
    ring->rows = NULL;
}

TT_WIDE static void shorten(const float *power, uint16_t *row, int count)
{
    for (int k = 0; k < count; k++) {
        uint32_t bits;
        memcpy(&bits, &power[k], sizeof bits);
        row[k] = (uint16_t)((bits + 0x8000u) >> 16);
    }
}

TT_WIDE static void lengthen(const uint16_t *row, float *power, int count)
{
    for (int k = 0; k < count; k++) {
        uint32_t bits = (uint32_t)row[k] << 16;
        memcpy(&power[k], &bits, sizeof bits);
    }
}

void tt_spectrum_ring_put(struct tt_spectrum_ring *ring, int64_t frame, const float *power)
{
    shorten(power, ring->rows + (frame % ring->row_count) * ring->bin_count, ring->bin_count);
}

void tt_spectrum_ring_get(const struct tt_spectrum_ring *ring, int64_t frame, float *power)
{
    lengthen(ring->rows + (frame % ring->row_count) * ring->bin_count, power, ring->bin_count);
}
