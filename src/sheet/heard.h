/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What was heard of a take: the language between hearing and deciding, kept in OUT/heard/TAKE.bin. */
#ifndef TT_SHEET_HEARD_H
#define TT_SHEET_HEARD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/mapped.h"
#include "base/span.h"
#include "dsp/cepstra.h"
#include "dsp/floor_track.h"
#include "dsp/hum.h"
#include "dsp/listener.h"
#include "dsp/meter.h"

enum { TT_HEARD_STEP_MS = 100, TT_COLOUR_BANDS = 8 };

/* A remark about the recording itself. */
struct tt_remark {
    char code[24];     /* "clipped", "bad-samples", "digital-silence" ... */
    char message[232]; /* a sentence for the narrator */
    double at_s;       /* NAN: the whole take */
};

/* Plain numbers, written to the file as they are (one machine, one build: see version). */
struct tt_heard_facts {
    char content_sha256[72]; /* of the whole recording */
    char hearing_key[72];    /* digest of the settings that hearing depends on */
    int32_t rate_hz;
    int32_t channel_count;       /* of the recording */
    int32_t channel;             /* chosen; -1: mean of all */
    int32_t safety_number;       /* as in struct tt_channel_choice */
    int32_t feature_hop_samples; /* between two rows of cepstra */
    int32_t listener_number;     /* the same */
    int64_t frame_count;         /* that could be read */
    double safety_gain;
    char channel_why[200];
    struct tt_levels before;      /* of the chosen channel as recorded */
    double floor_dbfs, floor_dba; /* mean over the take; -INFINITY when digitally silent, or too short */
    double speech_dbfs;    /* RMS of the speech runs (power mean) after the rumble filter; -INFINITY without any */
    double decay_db_per_s; /* of the voice at its fastest; a room that rings holds it up; NAN when not known */
    struct tt_hum hum;
    float colour_db[TT_COLOUR_BANDS]; /* mean spectrum of the speech, about an octave a band from 100 to 10000 Hz, over
                                         its own mean; NAN: too little speech */
};

/* Recorded voices fall by 140 to 190 dB a second; with a made room of 0.25 s behind them by 140 to 170, of 0.5 s by 105
 * to 110, of 0.8 s by 70 to 85. From here on the room is heard behind the words. */
#define TT_RINGS_UNDER_DB_PER_S 120.0
/* In noise the end of a word cannot be followed far enough down, and seems to ring. */
static inline bool tt_heard_decays_under(const struct tt_heard_facts *facts, double db_per_s)
{
    const double least_over_room_db = 25.0;
    return facts->decay_db_per_s > 0.0 && facts->decay_db_per_s < db_per_s &&
           facts->speech_dbfs - facts->floor_dbfs >= least_over_room_db;
}

/* Opened from a file, all arrays lie in its mapping and are read only, floor's too (never tt_floor_track_free it).
 * Filled in by a caller for tt_heard_writer_commit, they are the caller's. */
struct tt_heard {
    struct tt_heard_facts facts;
    struct tt_floor_track floor;
    const struct tt_run *runs;
    size_t run_count;
    const struct tt_sound *sounds;
    size_t sound_count;
    const float *steps; /* K-weighted mean power of each 100 ms of the filtered take */
    size_t step_count;
    const struct tt_remark *remarks;
    size_t remark_count;
    const int8_t *cepstra; /* feature_count rows of TT_CEPSTRA; row r is centred on sample r * feature_hop_samples */
    const int8_t *levels;  /* of each of these rows, in whole dB (dsp/cepstra.h) */
    size_t feature_count;
    const int64_t *nuclei; /* places of syllables in samples, rising */
    size_t nucleus_count;
    const struct tt_span_frames *others; /* where somebody else spoke into a channel of their own, in time order */
    size_t other_count;
    int64_t from_sample, to_sample; /* the part that is used, see tt_heard_narrow; to 0: to the end */
    struct tt_run *narrowed;        /* the runs of that part, or NULL */
    struct tt_mapped mapped;        /* the file */
};

/* Opens a file written by tt_heard_writer; fails when it is of another version, damaged, or not of this content and
 * hearing key (either may be NULL: not compared). */
bool tt_heard_open(const char *path, const char *content_sha256, const char *hearing_key, struct tt_heard *heard,
                   struct tt_error *err);
void tt_heard_close(struct tt_heard *heard); /* zeroes it; NULL is fine */

/* Leaves only what was heard from one sample to another, for a piece out of a longer recording. All places stay those
 * of the whole recording, and so do facts, floor, steps and cepstra. Once only. */
bool tt_heard_narrow(struct tt_heard *heard, int64_t from_sample, int64_t to_sample, struct tt_error *err);
/* Where the part that is used ends, exclusive. */
int64_t tt_heard_end(const struct tt_heard *heard);

/* Writes cepstra as they come, the rest at the end. */
struct tt_heard_writer;
struct tt_heard_writer *tt_heard_writer_open(const char *path, struct tt_error *err);
bool tt_heard_writer_add_row(struct tt_heard_writer *writer, const int8_t cepstra[TT_CEPSTRA], int8_t level_db,
                             struct tt_error *err);
/* Everything but these rows is taken from heard. Destroys the writer, also on failure. */
bool tt_heard_writer_commit(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_error *err);
/* A file without a name in folder, for one look: it is opened in place of being published. Destroys the writer, too. */
struct tt_heard_writer *tt_heard_writer_open_unnamed(const char *folder, struct tt_error *err);
bool tt_heard_writer_keep(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_heard *opened,
                          struct tt_error *err);
void tt_heard_writer_abandon(struct tt_heard_writer *writer);

#endif
