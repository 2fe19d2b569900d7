/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Between the parts of dsp/lag.c. */
#ifndef TT_DSP_LAG_PARTS_H
#define TT_DSP_LAG_PARTS_H

#include "dsp/lag.h"

enum {
    LAG_FRAME = TT_LAG_RATE_HZ / 100,
    LAG_FEATURES = 2,
    LAG_CANDIDATES = 4,
    LAG_APART = 20
}; /* samples a frame of 10 ms; candidates of a block so many frames apart */

struct lag_envelope {
    float *values[LAG_FEATURES];
    size_t frames;
    bool is_silent;
}; /* dB over the room */

struct lag_candidate {
    size_t frame;    /* of the first sound */
    double likeness; /* of envelopes, then of waveforms; 0: not the same */
    double lag;      /* samples, parts of one too: how much later it lies in the first sound than in the second */
    bool is_turned;
};
struct lag_block {
    size_t frame;
    bool has_sound;
    struct lag_candidate candidates[LAG_CANDIDATES];
    int count;
}; /* frame: of the second sound */

bool lag_envelope_make(const struct tt_lag_sound *sound, struct lag_envelope *envelope);
void lag_envelope_free(struct lag_envelope *envelope);
/* lag.c: candidates by envelopes. */
bool lag_propose(const struct lag_envelope *before, const struct lag_envelope *after, size_t length,
                 struct lag_block *blocks, size_t count);
/* lag_verify.c: likeness and lag by waveforms. */
bool lag_verify(const struct tt_lag_sound *before, const struct tt_lag_sound *after, size_t length,
                struct lag_block *blocks, size_t count);

#endif
