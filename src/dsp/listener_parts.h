/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the listener's files share: a ring of frames, and the steps that give each its place. Not for others. */
#ifndef TT_DSP_LISTENER_PARTS_H
#define TT_DSP_LISTENER_PARTS_H

#include "dsp/band_floor.h"
#include "dsp/band_levels.h"
#include "dsp/listener.h"
#include "dsp/running_quantile.h"
#include "dsp/voicing.h"

enum tt_heard_as { TT_HEARD_NOTHING, TT_HEARD_SPEECH, TT_HEARD_SOUND };

/* One frame, from hearing to settling. */
struct tt_heard_frame {
    float band_db[TT_BANDS], all_db;       /* smoothed levels */
    float whole;                           /* mean square of the frame, not smoothed */
    float voicing;                         /* as heard, room and all */
    float voiced;                          /* the share of it that cannot be the room's */
    float over_db;                         /* how far the best bands stand over the room */
    uint8_t is_silent, is_voiced, is_sure; /* sure: the heart of a word */
    uint8_t heard_as;                      /* enum tt_heard_as */
    uint8_t state;                         /* enum tt_frame_state */
};

/* A stretch between two valleys of a gap. */
struct tt_piece {
    int64_t start, end; /* frames */
    float peak_db, dip_before_db, dip_after_db;
    bool touches_before, touches_after; /* hangs on a word without a valley */
    float breath;                       /* likelihood */
    uint8_t is_breath, is_speech;
};
enum { TT_MOST_PIECES = 256 };

/* The run under way. */
struct tt_open_run {
    bool is_open;
    int64_t start, end; /* frames; end is exclusive */
    int64_t last_end;   /* of what was heard before it: speech or sound */
    int voiced_frames, frames;
};

struct tt_gap {
    int64_t start, end;
    bool word_before, word_after;
};

/* How far what is heard between the words stands over the room: the last TT_REST_FRAMES frames of it. */
enum { TT_REST_FRAMES = 4096 };
struct tt_rest {
    struct tt_running_quantile over;
    int16_t steps[TT_REST_FRAMES];
    int64_t count;
};

struct tt_listener {
    struct tt_stft_shape shape;
    struct tt_band_plan plan;
    struct tt_voicing *voicing;
    struct tt_band_floor *floor;
    double frames_per_s;
    float low_share;
    float sway_db[TT_BANDS]; /* of steady noise in a frame, by band: one standard deviation */
    struct tt_heard_frame *ring;
    int64_t ring_mask;
    struct tt_room_level *rooms; /* ring by block */
    int64_t room_mask;
    struct tt_band_powers recent[5];
    bool have[5];
    struct tt_band_powers block; /* sums of the block under way */
    bool block_is_heard;
    float last_voicing;
    float *nothing;                         /* hop_samples zeros */
    int64_t heard, smoothed, voiced, rated; /* frames through each step */
    int64_t blocks_rated;
    /* segmenting */
    bool in_word, gap_after_word;
    int64_t word_start, word_last, gap_start, sorted;
    int word_frames;
    struct tt_piece pieces[TT_MOST_PIECES];
    /* runs and states */
    struct tt_open_run open_run;
    struct tt_rest rest;
    int64_t built, walked, settled, delay_frames, last_speech, last_sound;
    uint32_t(*run_counts);           /* level histogram of a run: how many frames */
    double *run_powers, *run_floors; /* and their powers */
    struct tt_run *runs;
    size_t run_count, run_room;
    struct tt_sound *sounds;
    size_t sound_count, sound_room;
    int64_t over_words[TT_OVER_WORDS_MOST];
    size_t over_count;
    bool finished;
    int64_t sample_count; /* known when finished */
};

static inline struct tt_heard_frame *tt_heard_at(const struct tt_listener *l, int64_t frame)
{
    return &l->ring[frame & l->ring_mask];
}

enum { TT_BLOCK_FRAMES = 4 };
static inline const struct tt_room_level *tt_room_at(const struct tt_listener *l, int64_t frame)
{
    return &l->rooms[(frame / TT_BLOCK_FRAMES) & l->room_mask];
}
static inline int64_t tt_listener_frames(const struct tt_listener *l, double ms)
{
    return (int64_t)(ms * l->frames_per_s / 1000.0 + 0.5);
}
static inline int64_t tt_listener_sample(const struct tt_listener *l, int64_t frame)
{
    int64_t sample = frame * l->shape.hop_samples - l->shape.hop_samples / 2;
    if (sample < 0)
        return 0;
    return l->finished && sample > l->sample_count ? l->sample_count : sample;
}

/* listener_clues.c: power in the two lowest bands together, as a mean over the bins of all. */
float tt_listener_low_power(const struct tt_listener *listener, const float *band_db);
/* listener_edges.c: what a frame between the words stands over the room by. */
void tt_listener_note_rest(struct tt_rest *rest, float over_db);
/* listener_edges.c: what all but a fifth of those stay under; unknown_db before a second of them was heard. */
float tt_listener_rest_db(const struct tt_listener *listener, float unknown_db);
/* listener_edges.c: the first frame from `from` on, in steps of one, that is within 38 dB of the loudest
 * nearby, and not alone in that: a click of the room, or the release of a stop, is heard as standing in the pause. From
 * itself where the ring has lost it. */
int64_t tt_listener_loud_edge(const struct tt_listener *listener, int64_t from, int64_t to, int step);
/* listener_clues.c: a breath's likelihood in a room whose rustle reaches rest_db. */
float tt_listener_among_rustle(float breath, float peak_db, float rest_db);
/* listener_clues.c: whether within so much to either side what is heard rises or falls as it does where somebody
 * speaks. */
#define TT_SYLLABLE_MS 250.0
bool tt_listener_moves_near(const struct tt_listener *listener, int64_t frame);
/* listener_pieces.c: fills listener->pieces with what stands over the room in a gap, in order; returns their count. */
int tt_listener_find_pieces(struct tt_listener *listener, const struct tt_gap *gap);
/* listener_words.c: a rated frame, within a word or in a gap; and the end of the take. */
bool tt_listener_step(struct tt_listener *listener, int64_t frame, struct tt_error *err);
bool tt_listener_end_words(struct tt_listener *listener, struct tt_error *err);
/* listener_gap.c: what is heard between two words. Marks the gap's frames and notes its sounds. */
bool tt_listener_sort_gap(struct tt_listener *listener, struct tt_gap gap, struct tt_error *err);
/* listener_over.c: what lies over the words of a run that is closed. */
void tt_listener_find_over_words(struct tt_listener *listener, const struct tt_open_run *run, float run_level_db);
/* listener_clues.c */
struct tt_breath_clues;
struct tt_breath_clues tt_listener_clues(const struct tt_listener *listener, const struct tt_piece *piece,
                                         const struct tt_gap *gap);
/* listener_runs.c: runs out of marked frames up to `sorted`, and states behind them. */
bool tt_listener_build_runs(struct tt_listener *listener, int64_t sorted, bool is_end, struct tt_error *err);
/* listener_sounds.c: a sound that was heard, and one that is neither speech nor breath: what it is, and how surely. A
 * click is shorter than this. */
#define TT_CLICK_MOST_MS 60.0
bool tt_listener_note_sound(struct tt_listener *listener, int64_t start, int64_t end, enum tt_sound_kind kind,
                            float confidence, struct tt_error *err);
bool tt_listener_note_odd_sound(struct tt_listener *listener, int64_t start, int64_t end, struct tt_error *err);

#endif
