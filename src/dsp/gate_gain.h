/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The gate's decision: frames of power and floor go in, gains by bin come out a block at a time. */
#ifndef TT_DSP_GATE_GAIN_H
#define TT_DSP_GATE_GAIN_H

#include "dsp/gate.h"

enum {
    TT_GATE_BLOCK = 24, /* frames that get their gains at once, 128 ms */
    TT_GATE_AHEAD = 16, /* frames that are looked at behind them, 85 ms */
    TT_GATE_ROWS = TT_GATE_BLOCK + TT_GATE_AHEAD
};

struct tt_gate_gain;
struct tt_gate_gain *tt_gate_gain_create(struct tt_stft_shape shape, struct tt_gate_settings settings,
                                         struct tt_error *err);
void tt_gate_gain_destroy(struct tt_gate_gain *decision);
/* As it was made. */
void tt_gate_gain_restart(struct tt_gate_gain *decision);
/* The floor that frames are held against from here on: bin_count values. */
void tt_gate_gain_set_floor(struct tt_gate_gain *decision, const float *floor);
/* Floats from a spectrum's real parts to its imaginary ones: as many as bins, and some, so that both begin with a line
 * of the memory's. */
int tt_gate_gain_row(struct tt_stft_shape shape);
/* The newest frame's spectrum. True when TT_GATE_ROWS frames are there: then tt_gate_gain_run must follow. */
bool tt_gate_gain_add(struct tt_gate_gain *decision, const float *spectrum);
/* Turns down the first TT_GATE_BLOCK of those frames, and forgets them. NULL: nobody wants that one. */
void tt_gate_gain_run(struct tt_gate_gain *decision, float *const *spectra);

#endif
