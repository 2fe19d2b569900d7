/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Speech or not, frame by frame, and the sounds between the lines: breaths, clicks, other noises. Streaming, with a
 * fixed delay. */
#ifndef TT_DSP_LISTENER_H
#define TT_DSP_LISTENER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "dsp/stft.h"

/* A run of speech. Edges lie where it can first and last be heard over the room: guards are the caller's. */
struct tt_run {
    int64_t start_sample, end_sample; /* end is exclusive */
    int64_t loud_start_sample,
        loud_end_sample; /* where a listener would say that it begins and ends: it stands out of the room there */
    float level_db;      /* mean power of its louder half, dBFS */
    float over_floor_db; /* the same over the room: how sure the edges are */
    float voiced_share;  /* 0..1 of its frames */
};

enum tt_sound_kind { TT_SOUND_BREATH, TT_SOUND_CLICK, TT_SOUND_NOISE };
/* Something between the runs. */
struct tt_sound {
    int64_t start_sample, end_sample;
    enum tt_sound_kind kind;
    float confidence; /* 0..1, calibrated */
    float level_db, over_floor_db;
};

enum tt_frame_state { TT_FRAME_QUIET, TT_FRAME_SPEECH, TT_FRAME_SOUND, TT_FRAME_SILENT /* digital silence */ };

struct tt_listener;
struct tt_listener *tt_listener_create(struct tt_stft_shape shape, struct tt_error *err);
/* Frame k in order: its power spectrum (tt_stft_powers) and the hop_samples samples from k * hop on (voicing is heard
 * in the signal). */
bool tt_listener_add(struct tt_listener *listener, const float *power, const float *samples, struct tt_error *err);
/* sample_count: what was given in all; nothing ends behind it, though the last frame does. */
bool tt_listener_finish(struct tt_listener *listener, int64_t sample_count, struct tt_error *err);
/* Frames settled so far; the state of one of the last settled frames (at most tt_listener_delay_frames() behind the
 * newest). Quiet is what may be taken for the room: no speech, no sound, and no guard of either. */
int64_t tt_listener_settled(const struct tt_listener *listener);
enum tt_frame_state tt_listener_state(const struct tt_listener *listener, int64_t frame);
/* How voiced such a frame is, 0..1, without what the room adds to that. */
float tt_listener_voiced(const struct tt_listener *listener, int64_t frame);
int64_t tt_listener_delay_frames(const struct tt_listener *listener);
/* Valid after finish, borrowed until destroy; in time order, runs and sounds do not overlap. */
const struct tt_run *tt_listener_runs(const struct tt_listener *listener, size_t *count);
const struct tt_sound *tt_listener_sounds(const struct tt_listener *listener, size_t *count);
/* Samples at which something lies over the words that is louder than any of them, rising; the first TT_OVER_WORDS_MOST
 * of them. Valid as long. */
enum { TT_OVER_WORDS_MOST = 6 };
const int64_t *tt_listener_over_words(const struct tt_listener *listener, size_t *count);
void tt_listener_destroy(struct tt_listener *listener);

#endif
