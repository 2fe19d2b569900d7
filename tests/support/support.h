/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What tests share: a folder of their own, sounds, errors that say why. */
#ifndef TT_TESTS_SUPPORT_H
#define TT_TESTS_SUPPORT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "row_of.h"
#include "tidytake/error.h"

/* Fails with the error's own words. */
#define assert_ok(call, error)                                                                                         \
    do {                                                                                                               \
        if (!(call))                                                                                                   \
            fail_msg("%s: %s", #call, (error).message);                                                                \
    } while (0)

/* A new folder below $TMPDIR or /tmp; freed and removed with everything in it by folder_remove. */
char *folder_make(void);
void folder_remove(char *folder);

/* folder/name in a buffer that stays valid until the 16th next call. */
const char *in_folder(const char *folder, const char *name);

void file_write(const char *path, const void *data, size_t size);
/* NUL-terminated, to be freed; size may be NULL. */
char *file_read(const char *path, size_t *size);
bool file_exists(const char *path);
void file_copy(const char *from, const char *to);
/* 64 hex digits in a buffer that stays valid until the 16th next call. */
const char *file_digest(const char *path);
/* Digest over names and contents of everything in a folder's sub-folder. */
const char *folder_digest(const char *folder, const char *sub);

/* A mono sound file: format is a libsndfile format number, e.g. SF_FORMAT_WAV | SF_FORMAT_PCM_24. */
void sound_write(const char *path, int format, int rate_hz, int channels, const float *interleaved, size_t frames);
/* All samples of the first channel, to be freed. */
float *sound_read(const char *path, size_t *frames, int *rate_hz);

/* Noise of a known power, from a seed; uniform distribution. */
void noise_add(float *samples, size_t count, double rms, uint64_t seed);
/* Something that the program takes for a line of speech: a buzz with moving formants and syllables, RMS about rms. */
void voice_add(float *samples, size_t count, int rate_hz, double rms, uint64_t seed);

/* The labelled session of the fixtures, copied: folder/01.flac, 02.flac. */
void copy_fixture_session(const char *folder);

double rms_of(const float *samples, size_t count);
/* By how many samples, `most` at the most, b lies behind a. */
int lag_of(const float *a, const float *b, size_t count, int most);

void sheet_propose(struct tt_sheet *sheet, const struct tt_row *row);

#endif
