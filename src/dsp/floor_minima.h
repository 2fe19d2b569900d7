/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The floor of a take that never pauses: minima of smoothed power by bin (after Martin 2001), a row for each stretch.
 */
#ifndef TT_DSP_FLOOR_MINIMA_H
#define TT_DSP_FLOOR_MINIMA_H

#include "dsp/stft.h"

struct tt_floor_minima;
struct tt_floor_minima *tt_floor_minima_create(struct tt_stft_shape shape, struct tt_error *err);
void tt_floor_minima_destroy(struct tt_floor_minima *minima);
/* Any frame that is not digital silence. */
void tt_floor_minima_add(struct tt_floor_minima *minima, const float *power);
/* Silence follows: what its edge may have touched is forgotten. */
void tt_floor_minima_interrupt(struct tt_floor_minima *minima);
/* The median of the minima since the last call, without bias, into power[bin_count]; false where nothing was heard. */
bool tt_floor_minima_take(struct tt_floor_minima *minima, float *power);

#endif
