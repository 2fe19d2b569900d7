/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the tests of this folder share: a folder of their own, files made by libsndfile, files as bytes. */
#ifndef AUDIO_TEST_H
#define AUDIO_TEST_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <sndfile.h>
#include <unistd.h>

#include "tidytake/error.h"

static char test_folder[64];

static inline int make_test_folder(void **state)
{
    (void)state;
    strcpy(test_folder, "/tmp/tt-audio-XXXXXX");
    return mkdtemp(test_folder) == NULL;
}

static inline int remove_test_folder(void **state)
{
    char command[96];
    (void)state;
    (void)snprintf(command, sizeof command, "rm -rf %s", test_folder);
    return system(command);
}

/* A path below the folder; four may be in use at once. */
static inline const char *test_path(const char *name)
{
    static char paths[4][256];
    static int next;
    char *path = paths[next++ % 4];
    (void)snprintf(path, sizeof paths[0], "%s/%s", test_folder, name);
    return path;
}

#define assert_ok(condition, err)                                                                                      \
    do {                                                                                                               \
        if (!(condition))                                                                                              \
            fail_msg("%s: \"%s\"", #condition, (err).message);                                                         \
    } while (0)

static inline void assert_near(double value, double expected, double tolerance)
{
    if (!(fabs(value - expected) <= tolerance))
        fail_msg("%.9g is not within %.3g of %.9g", value, tolerance, expected);
}

/* Steady noise in -1..1: Numerical Recipes' linear congruential generator. */
static inline float test_noise(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return (float)(int32_t)*state / 2147483648.0f;
}

static inline void make_sine(float *samples, size_t count, double hz, double rate_hz, double amplitude)
{
    for (size_t i = 0; i < count; i++)
        samples[i] = (float)(amplitude * sin(2.0 * 3.14159265358979323846 * hz * (double)i / rate_hz));
}

static inline void write_sound(const char *path, int format, int rate_hz, int channels, const float *interleaved,
                               int64_t frames)
{
    SF_INFO info = {.samplerate = rate_hz, .channels = channels, .format = format};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    if (file == NULL)
        fail_msg("%s: %s", path, sf_strerror(NULL));
    (void)sf_command(file, SFC_SET_CLIPPING, NULL, SF_TRUE);
    assert_int_equal(sf_writef_float(file, interleaved, frames), frames);
    assert_int_equal(sf_close(file), 0);
}

static inline unsigned char *load_bytes(const char *path, size_t *size)
{
    FILE *file = fopen(path, "rb");
    assert_non_null(file);
    assert_int_equal(fseek(file, 0, SEEK_END), 0);
    long length = ftell(file);
    assert_true(length >= 0);
    rewind(file);
    unsigned char *bytes = malloc((size_t)length + 1);
    assert_non_null(bytes);
    assert_int_equal(fread(bytes, 1, (size_t)length, file), (size_t)length);
    (void)fclose(file);
    *size = (size_t)length;
    return bytes;
}

static inline void save_bytes(const char *path, const void *bytes, size_t size)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

static inline uint32_t le32(const unsigned char *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static inline uint64_t le64(const unsigned char *at) { return le32(at) | (uint64_t)le32(at + 4) << 32; }

/* A chunk of a RIFF file by a plain walk (RIFF 1991); NULL when it is not there. Sizes of FFFFFFFFh end the walk. */
static inline const unsigned char *find_chunk(const unsigned char *bytes, size_t size, const char *id,
                                              uint32_t *chunk_size)
{
    for (size_t at = 12; at + 8 <= size;) {
        *chunk_size = le32(bytes + at + 4);
        if (memcmp(bytes + at, id, 4) == 0)
            return bytes + at + 8;
        if (*chunk_size == 0xFFFFFFFFu)
            return NULL;
        at += 8 + (size_t)*chunk_size + (*chunk_size & 1);
    }
    return NULL;
}

#endif
