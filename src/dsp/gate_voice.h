/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within the gate: how likely somebody speaks, in a frame and in each bin's neighbourhood. */
#ifndef TT_DSP_GATE_VOICE_H
#define TT_DSP_GATE_VOICE_H

#include "dsp/gate_gain.h"

struct tt_gate_voice;
/* keep_faint is a factor on posterior SNRs. */
struct tt_gate_voice *tt_gate_voice_create(struct tt_stft_shape shape, float keep_faint, struct tt_error *err);
void tt_gate_voice_destroy(struct tt_gate_voice *voice);
/* The posterior SNR of frame at (0 to TT_GATE_ROWS - 1). */
void tt_gate_voice_add(struct tt_gate_voice *voice, int at, const float *gamma);
struct tt_gate_frame {
    float chance;   /* that somebody speaks, 0 to 1 */
    float strength; /* of the voice over the room, 0 (near it) to 1 (far over it) */
};
/* For frame at (under TT_GATE_BLOCK, all rows being there): presence by bin, borrowed until the next call; and the
 * whole frame. */
const float *tt_gate_voice_find(struct tt_gate_voice *voice, int at, struct tt_gate_frame *frame);
/* 1 in bins where a voice may be hidden in the noise while it speaks, 0 far above its range; borrowed. */
const float *tt_gate_voice_range(const struct tt_gate_voice *voice);
/* Forgets TT_GATE_BLOCK frames. */
void tt_gate_voice_move_on(struct tt_gate_voice *voice);
/* Forgets all. */
void tt_gate_voice_restart(struct tt_gate_voice *voice);

#endif
