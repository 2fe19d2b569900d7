/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The gate's decision: frames of power and floor go in, gains by bin come out TT_GATE_AHEAD frames later. */
#ifndef TT_DSP_GATE_GAIN_H
#define TT_DSP_GATE_GAIN_H

#include "dsp/gate.h"

enum { TT_GATE_AHEAD = 6 }; /* frames; 32 ms */

struct tt_gate_gain;
struct tt_gate_gain *tt_gate_gain_create(struct tt_stft_shape shape, struct tt_gate_settings settings, struct tt_error *err);
void tt_gate_gain_destroy(struct tt_gate_gain *decision);
/* power and floor: bin_count values of the newest frame. */
void tt_gate_gain_add(struct tt_gate_gain *decision, const float *power, const float *floor);
/* Gains of the frame that came TT_GATE_AHEAD frames before the newest, borrowed until the next add. */
const float *tt_gate_gain_row(const struct tt_gate_gain *decision);

#endif
