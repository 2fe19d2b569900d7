/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The session's speech as phrases in running order, and what each moment of them sounds like, ready for alignment. */
#ifndef TT_STAGES_PHRASES_H
#define TT_STAGES_PHRASES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "dsp/align.h"
#include "stages/knocks.h"
#include "stages/stage.h"

/* Shorter silences belong to the words: stops last up to about this long (measured: units split at 150 ms worked best).
 */
enum { TT_PHRASE_PAUSE_MS = 150 };

/* A stretch of speech without a pause to speak of. Rows are counted through the session, pauses left out. */
struct tt_phrase {
    size_t take;
    int64_t start_sample, end_sample;           /* in the take */
    int64_t loud_start_sample, loud_end_sample; /* where it can be heard well, without ring_s */
    double ring_s;                              /* so long the room alone is heard well behind it */
    double start_s, end_s;                      /* on the session's clock */
    size_t row, row_count;                      /* its rows of the session, of where it can be heard well */
    int64_t take_row;                           /* the first one in the take's cepstra */
    float level_db, over_floor_db;
    bool is_saying; /* stops a reading, see sayings.h */
};
static inline size_t tt_phrase_row_end(const struct tt_phrase *phrase) { return phrase->row + phrase->row_count; }

struct tt_phrases {
    const struct tt_session_view *view; /* borrowed */
    struct tt_phrase *all;
    size_t count;
    size_t row_count;
    float typical_level_db; /* median over the phrases, by duration */
    double rows_per_s;
    /* Of all speech rows: cepstra and their slopes. */
    float mean[TT_ALIGN_LANES], per_deviation[TT_ALIGN_LANES];
    float null_mean, null_deviation; /* likeness of stretches that have nothing to do with each other */
    /* The rows at hand, a window that moves along the session. */
    int16_t *window;
    size_t capacity, window_row, window_count;
};

/* knocks: runs that are no speech; may be NULL. */
bool tt_phrases_open(const struct tt_session_view *view, const struct tt_knocks_found *knocks,
                     struct tt_phrases *phrases, struct tt_error *err);
void tt_phrases_close(struct tt_phrases *phrases); /* zeroes it */

/* Makes rows from .. to - 1 of the session available; rows before from may be lost. */
bool tt_phrases_reach(struct tt_phrases *phrases, size_t from, size_t to, struct tt_error *err);
/* The window as rows for alignment; row r of the session is row r - window_row of it. Valid until the next reach. */
struct tt_align_rows tt_phrases_rows(const struct tt_phrases *phrases);

/* From which likeness on two rows speak for one another: as far over chance as it lies here, within measured limits. */
float tt_phrases_tau(const struct tt_phrases *phrases);

/* So many rows are the head of a phrase, a third of a second, by which its beginning is looked for elsewhere. */
enum { TT_HEAD_ROWS = 32 };
/* sums[t]: likeness of the TT_HEAD_ROWS rows from `head` on with those from `place` + t on, summed, for `count` places;
 * scratch[] holds as many. Rows of the session, all of them at hand. */
void tt_phrases_head_likeness(const struct tt_phrases *phrases, size_t head, size_t place, int count, float *sums,
                              int16_t *scratch);
/* Such a sum where each row is so many deviations likelier than chance. */
float tt_phrases_head_sum(const struct tt_phrases *phrases, float deviations);

/* Makes two phrases of one: the second begins with its row `rows`. */
bool tt_phrases_split(struct tt_phrases *phrases, size_t index, size_t rows, struct tt_error *err);

/* The phrase that holds a row of the session. */
size_t tt_phrases_at(const struct tt_phrases *phrases, size_t row);

/* Whether the next phrase follows at once, as a sentence goes on. */
bool tt_phrases_flow(const struct tt_phrases *phrases, size_t phrase);
/* Whether there is not even a pause before it. */
bool tt_phrases_join(const struct tt_phrases *phrases, size_t phrase);

#endif
