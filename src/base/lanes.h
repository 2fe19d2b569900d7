/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Sums side by side as vectors of the compiler's, which splits them into registers as wide as there are. Of an array of
 * sums gcc 12 makes now and then a loop turned inside out, at a tenth of the speed. The arithmetic is that of the
 * array: the same bits. */
#ifndef TT_BASE_LANES_H
#define TT_BASE_LANES_H

#include <string.h>

enum { TT_LANES = 16 }; /* floats in the widest register */
typedef float tt_lanes __attribute__((vector_size(TT_LANES * sizeof(float))));
typedef float tt_half_lanes __attribute__((vector_size(TT_LANES / 2 * sizeof(float))));
typedef float tt_quarter_lanes __attribute__((vector_size(TT_LANES / 4 * sizeof(float))));
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

/* The sum of all lanes, by halves: one behind the other would take longer than many a loop in front of it. */
static inline float tt_lanes_sum(const tt_lanes *lanes)
{
    tt_half_lanes halves[2];
    memcpy(halves, lanes, sizeof halves);
    halves[0] += halves[1];
    tt_quarter_lanes quarters[2];
    memcpy(quarters, &halves[0], sizeof quarters);
    quarters[0] += quarters[1];
    return (quarters[0][0] + quarters[0][2]) + (quarters[0][1] + quarters[0][3]);
}

#endif
