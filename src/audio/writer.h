/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Writing a delivered sound file: whole or not at all, with labels and a broadcast extension. */
#ifndef TT_AUDIO_WRITER_H
#define TT_AUDIO_WRITER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/settings.h"

struct tt_sound_format {
    enum tt_container container; /* wav turns into rf64 by itself past 4 GiB; flac has neither bext nor cue */
    enum tt_bits bits;           /* flac writes 24 where 32f is asked for */
    enum tt_channels channels;   /* dual: the same samples in two channels */
    int rate_hz;
};

/* A cue point with its label. */
struct tt_label {
    int64_t frame;
    const char *text;
};

/* Fields of a bext chunk version 2 (EBU Tech 3285). Loudness is set before commit; NAN there is written 7FFFh. */
struct tt_bext {
    char description[257];
    char originator[33];
    char originator_reference[33];
    char date[11], time[9];     /* yyyy-mm-dd, hh:mm:ss of the recording; "": none is written */
    int64_t time_reference;     /* frames since midnight of the first frame */
    const char *coding_history; /* without our own line, or NULL */
};
struct tt_bext_loudness {
    double integrated_lufs, range_lu, max_true_peak_dbtp, max_momentary_lufs, max_short_term_lufs;
};

struct tt_writer;

/* The length need not be known: every WAV has room for a ds64 chunk. bext may be NULL. Labels need not outlive the
 * call; those past 2^32 - 1 frames are left out. No dates, no PEAK chunk: the same samples give the same bytes, however
 * they are cut into adds. A FLAC file without any sound cannot be written. */
struct tt_writer *tt_writer_open(const char *path, const struct tt_sound_format *format, const struct tt_label *labels,
                                 size_t label_count, const struct tt_bext *bext, struct tt_error *err);
/* Mono samples, 1.0 = full scale. 16 bit: TPDF dither of 2 LSB peak to peak from a fixed seed; 24: rounded to nearest;
 * both clip. What is no number becomes 0. After a failed add the commit fails, too. */
bool tt_writer_add(struct tt_writer *writer, const float *samples, size_t count, struct tt_error *err);
void tt_writer_set_loudness(struct tt_writer *writer, const struct tt_bext_loudness *loudness);
bool tt_writer_commit(struct tt_writer *writer, struct tt_error *err); /* destroys it, also on failure */
void tt_writer_abandon(struct tt_writer *writer);                      /* NULL is fine */

/* ".wav" or ".flac". */
const char *tt_container_ending(enum tt_container container);

#endif
