/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Sums side by side as vectors of the compiler's, which splits them into registers as wide as there are. Of an array of sums gcc 12 makes now and then a loop
 * turned inside out, at a tenth of the speed. The arithmetic is that of the array: the same bits. */
#ifndef TT_BASE_LANES_H
#define TT_BASE_LANES_H

#include <string.h>

enum { TT_LANES = 16 }; /* floats in the widest register */
typedef float tt_lanes __attribute__((vector_size(TT_LANES * sizeof(float))));
typedef float tt_half_lanes __attribute__((vector_size(TT_LANES / 2 * sizeof(float))));
typedef int tt_lane_bits __attribute__((vector_size(TT_LANES * sizeof(int))));

/* By address: as values their passing would differ between processors. */
static inline void tt_lanes_load(tt_lanes *lanes, const float *from) { memcpy(lanes, from, sizeof *lanes); }

static inline void tt_lanes_add_products(tt_lanes *sums, const float *a, const float *b)
{
    tt_lanes x, y;
    tt_lanes_load(&x, a);
    tt_lanes_load(&y, b);
    *sums += x * y;
}

static inline void tt_half_lanes_add_products(tt_half_lanes *sums, const float *a, const float *b)
{
    tt_half_lanes x, y;
    memcpy(&x, a, sizeof x);
    memcpy(&y, b, sizeof y);
    *sums += x * y;
}

#endif
