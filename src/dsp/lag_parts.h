/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Between the parts of dsp/lag.c. */
#ifndef TT_DSP_LAG_PARTS_H
#define TT_DSP_LAG_PARTS_H

#include "dsp/lag.h"

enum {
    LAG_FRAME = TT_LAG_RATE_HZ / 100, /* samples in 10 ms */
    LAG_FEATURES = 2,
    LAG_CANDIDATES = 4,
    LAG_APART = 20,        /* frames between two candidates of a block */
    LAG_SECOND = 100,      /* frames */
    LAG_DRIFT_SAMPLES = 8, /* 2 ms from block to block: more is a cut */
    LAG_HEARD_DB = 10      /* over the room */
};

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

struct lag_step {
    size_t block, candidate;
    double score, lag; /* lag: in samples */
    long from;
};

/* A stretch of the second sound, in frames, that lies at one lag; certain: the middle of the blocks that said so. */
struct lag_core {
    size_t start, end, certain_start, certain_end;
    double lag, likeness;
    bool is_turned;
};
struct lag_cores {
    struct lag_core *all;
    size_t count, capacity;
};

struct lag_finder {
    const struct tt_lag_sound *before, *after;
    const struct lag_envelope *first, *second;
    struct lag_cores cores;
};

bool lag_envelope_make(const struct tt_lag_sound *sound, struct lag_envelope *envelope);
void lag_envelope_free(struct lag_envelope *envelope);
/* lag.c: candidates by envelopes. */
bool lag_propose(const struct lag_envelope *before, const struct lag_envelope *after, size_t length,
                 struct lag_block *blocks, size_t count);
/* lag_verify.c: likeness and lag by waveforms. */
bool lag_verify(const struct tt_lag_sound *before, const struct tt_lag_sound *after, size_t length,
                struct lag_block *blocks, size_t count);
/* lag_path.c: the best path's steps, in order, the caller's to free; NULL without memory. */
struct lag_step *lag_path_find(const struct lag_block *blocks, size_t count, size_t *length);
/* lag_cores.c: finder->cores in order of time, the caller's to free. False: no memory. */
bool lag_cores_find(struct lag_finder *finder);

#endif
