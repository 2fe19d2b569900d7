/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/picture.h"

#include <limits.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/png.h"
#include "base/text.h"
#include "dsp/fast_math.h"

enum { LEVELS = 2, WHITE_STEP = 64 };
/* From one band of a strip to the next: were it a power of two, the bands of a column would drive one another out of
 * the nearest cache. */
enum { PITCH = TT_STRIP_COLUMNS + 64 };
static const double lowest_hz = 60, highest_hz = 16000; /* where voices and rooms are */
static const double corner_hz =
    800; /* bands are even in frequency below, even in octaves above, like an ear's (common practice) */
/* White: 100 dB under a sine at full scale, in a bin; black: 28 dB under it. Between them lie 72 dB, in 64 shades
 * of 1.1 dB: finer ones double the files and are not seen. */
static const float floor_db = -100, top_db = -28;
static const float nothing = 1e-14f, db_per_octave = 3.01029996f; /* the latter of a power's */

struct level {
    char *prefix;
    uint8_t *strip; /* bands by columns, PITCH apart */
    int columns;    /* of the strip that is being filled */
    uint8_t *rows;  /* finished strips of the file, one below the other */
    int strips, files;
};

struct tt_picture {
    struct tt_stft_shape shape;
    int edges[TT_PICTURE_BANDS + 1]; /* bins; a band may be one bin that its neighbour has, too */
    float *power;                    /* of the column so far */
    int frames;
    float zoomed[TT_PICTURE_BANDS]; /* powers of the column of the long view */
    int zoomed_columns;
    int64_t column_count;
    struct level levels[LEVELS];
};

static double warp(double hz) { return hz < corner_hz ? hz / corner_hz : 1 + log(hz / corner_hz); }
static double unwarp(double place) { return place < 1 ? place * corner_hz : corner_hz * exp(place - 1); }

static void find_edges(struct tt_picture *picture)
{
    double bin_hz = (double)picture->shape.rate_hz / picture->shape.window_samples, low = warp(lowest_hz),
           high = warp(highest_hz);
    for (int band = 0; band <= TT_PICTURE_BANDS; band++) {
        double edge = unwarp(low + (high - low) * band / TT_PICTURE_BANDS) / bin_hz;
        picture->edges[band] = (int)fmin(lround(edge), picture->shape.bin_count);
    }
}

#define NAME_FORMAT "%s-%d-%d.png"
static char *file_name(const char *prefix, int level, int file) { return tt_format(NAME_FORMAT, prefix, level, file); }

bool tt_picture_exists(const char *prefix)
{
    char path[PATH_MAX + 16]; /* no memory to run out of: want of it would pass for want of a picture */
    return (size_t)snprintf(path, sizeof path, NAME_FORMAT, prefix, 0, 0) < sizeof path && tt_file_exists(path);
}

struct tt_picture *tt_picture_create(struct tt_stft_shape shape, const char *prefix, struct tt_error *err)
{
    struct tt_picture *picture = calloc(1, sizeof *picture);
    if (!picture) {
        tt_fail_memory(err);
        return NULL;
    }
    picture->shape = shape;
    find_edges(picture);
    bool ok = (picture->power = calloc((size_t)shape.bin_count, sizeof(float))) != NULL;
    const size_t strip = (size_t)TT_STRIP_COLUMNS * TT_PICTURE_BANDS;
    for (int i = 0; i < LEVELS; i++) {
        struct level *level = &picture->levels[i];
        level->prefix = tt_copy_string(prefix);
        level->strip = malloc((size_t)PITCH * TT_PICTURE_BANDS);
        level->rows = malloc(strip * TT_STRIPS_MOST);
        ok = ok && level->prefix && level->strip && level->rows;
        if (level->strip)
            memset(level->strip, 255, (size_t)PITCH * TT_PICTURE_BANDS);
    }
    if (!ok) {
        tt_fail_memory(err);
    } else {
        char *folder = tt_copy_string(prefix), *slash = folder ? strrchr(folder, '/') : NULL;
        if (slash)
            *slash = '\0';
        ok = folder ? !slash || tt_folder_make(folder, err) : tt_fail_memory(err);
        free(folder);
    }
    if (ok)
        return picture;
    tt_picture_destroy(picture);
    return NULL;
}

void tt_picture_destroy(struct tt_picture *picture)
{
    if (!picture)
        return;
    for (int i = 0; i < LEVELS; i++) {
        free(picture->levels[i].prefix);
        free(picture->levels[i].strip);
        free(picture->levels[i].rows);
    }
    free(picture->power);
    free(picture);
}

static bool write_file(struct level *level, int number, struct tt_error *err)
{
    char *path = file_name(level->prefix, number, level->files);
    if (!path)
        return tt_fail_memory(err);
    const int rows = level->strips * TT_PICTURE_BANDS;
    struct tt_png *png = tt_png_open(path, TT_STRIP_COLUMNS, (uint32_t)rows, err);
    bool ok = png != NULL;
    for (int row = 0; ok && row < rows; row++)
        ok = tt_png_add_row(png, level->rows + (size_t)row * TT_STRIP_COLUMNS, err);
    if (ok)
        ok = tt_png_commit(png, err);
    else
        tt_png_abandon(png);
    level->files++;
    level->strips = 0;
    free(path);
    return ok;
}

static bool end_strip(struct level *level, int number, struct tt_error *err)
{
    uint8_t *row = level->rows + (size_t)level->strips * TT_STRIP_COLUMNS * TT_PICTURE_BANDS;
    for (int band = 0; band < TT_PICTURE_BANDS; band++, row += TT_STRIP_COLUMNS)
        memcpy(row, level->strip + band * PITCH, TT_STRIP_COLUMNS);
    memset(level->strip, 255, (size_t)PITCH * TT_PICTURE_BANDS);
    level->columns = 0;
    return ++level->strips < TT_STRIPS_MOST || write_file(level, number, err);
}

/* In steps of four, which a picture's compression thanks for. What is bounded is bounded as whole numbers, or the loop
 * would not be done several at a time. */
TT_WIDE static void find_shades(const float *restrict bands, int32_t *restrict shades)
{
    for (int band = 0; band < TT_PICTURE_BANDS; band++) {
        const float shade =
            255.0f * (top_db - db_per_octave * tt_fast_log2(bands[band] + nothing)) / (top_db - floor_db);
        int32_t step = (int32_t)(shade / 4 + 0.5f);
        step = step > 0 ? step : 0;
        shades[band] = step < WHITE_STEP ? 4 * step : 255;
    }
}

static bool add_column(struct tt_picture *picture, int number, const float *bands, struct tt_error *err)
{
    struct level *level = &picture->levels[number];
    int32_t shades[TT_PICTURE_BANDS];
    find_shades(bands, shades);
    for (int band = 0; band < TT_PICTURE_BANDS; band++)
        level->strip[(TT_PICTURE_BANDS - 1 - band) * PITCH + level->columns] = (uint8_t)shades[band];
    return ++level->columns < TT_STRIP_COLUMNS || end_strip(level, number, err);
}

/* A sine at full scale has a power of window/4 in its bin (sum of the window's squares is half its length): 0 dB of the
 * scale. */
static void sum_bands(const struct tt_picture *picture, float *bands)
{
    float scale = 4.0f / (float)(picture->shape.window_samples * picture->frames);
    for (int band = 0; band < TT_PICTURE_BANDS; band++) {
        int first = picture->edges[band],
            last = picture->edges[band + 1] > first ? picture->edges[band + 1] : first + 1;
        float most = 0;
        for (int k = first; k < last && k < picture->shape.bin_count; k++)
            most = picture->power[k] > most ? picture->power[k] : most;
        bands[band] = most * scale;
    }
}

static bool end_zoomed(struct tt_picture *picture, struct tt_error *err)
{
    for (int band = 0; band < TT_PICTURE_BANDS; band++)
        picture->zoomed[band] /= (float)picture->zoomed_columns;
    bool ok = add_column(picture, 1, picture->zoomed, err);
    memset(picture->zoomed, 0, sizeof picture->zoomed);
    picture->zoomed_columns = 0;
    return ok;
}

static bool end_column(struct tt_picture *picture, struct tt_error *err)
{
    float bands[TT_PICTURE_BANDS];
    sum_bands(picture, bands);
    memset(picture->power, 0, (size_t)picture->shape.bin_count * sizeof(float));
    picture->frames = 0;
    picture->column_count++;
    for (int band = 0; band < TT_PICTURE_BANDS; band++)
        picture->zoomed[band] += bands[band];
    return add_column(picture, 0, bands, err) &&
           (++picture->zoomed_columns < TT_PICTURE_ZOOM || end_zoomed(picture, err));
}

TT_WIDE static void add_to(float *restrict sum, const float *restrict power, int count)
{
    for (int k = 0; k < count; k++)
        sum[k] += power[k];
}

bool tt_picture_add(struct tt_picture *picture, const float *power, struct tt_error *err)
{
    add_to(picture->power, power, picture->shape.bin_count);
    return ++picture->frames < TT_PICTURE_FRAMES || end_column(picture, err);
}

bool tt_picture_finish(struct tt_picture *picture, struct tt_error *err)
{
    if (picture->frames > 0 && !end_column(picture, err))
        return false;
    if (picture->zoomed_columns > 0 && !end_zoomed(picture, err))
        return false;
    bool is_long = picture->column_count > TT_STRIP_COLUMNS;
    for (int i = 0; i < LEVELS; i++) {
        struct level *level = &picture->levels[i];
        bool is_wanted = i == 0 || is_long;
        if (is_wanted && (level->columns > 0 || (i == 0 && picture->column_count == 0)) && !end_strip(level, i, err))
            return false;
        if (is_wanted && level->strips > 0 && !write_file(level, i, err))
            return false;
        for (bool is_there = true; is_there; level->files++) { /* of a longer sound */
            char *path = file_name(level->prefix, i, level->files);
            if (!path)
                return tt_fail_memory(err);
            is_there = unlink(path) == 0;
            free(path);
        }
    }
    return true;
}
