/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/floor_minima.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/fast_math.h"
#include "dsp/floor_steps.h"

/* Every second frame is enough: neighbours share three quarters of their samples. */
enum { EVERY = 2, DELAY = 2, MOST_ROWS = 96 };
/* 1.5 s is the search window of Martin 2001; smoothing over some 90 ms as his steady part. */
static const double SEARCH_S = 1.5;
static const double SMOOTHING_S = 0.09;
/* The mean of such minima for Gaussian noise, in dB under its power: measured on 1 h of made noise (computed; see the
 * test). */
static const double BIAS_DB = 2.57;
static const float POWER_LEAST = 1e-14F;
/* Noise itself stays under this, 7 dB over its minimum, when smoothed: there the smoothing is full. */
static const float FREE_OVER_MINIMUM = 5.0F;
static const float NOTHING_KNOWN = 1e20F; /* before the first search window is over: full smoothing */

struct tt_floor_minima {
    struct tt_stft_shape shape;
    float keep; /* smoothing factor */
    int search_frames;
    int phase, smoothed_frames, frames_in_search, row_count;
    float *smooth;
    float *waiting; /* DELAY rows: smoothed power that a silence may still take back */
    int waiting_count;
    float *lowest; /* minima of the last finished search window and since */
    float *rows;   /* minima of each search window */
};

struct tt_floor_minima *tt_floor_minima_create(struct tt_stft_shape shape, struct tt_error *err)
{
    struct tt_floor_minima *minima = calloc(1, sizeof *minima);
    if (!minima) {
        tt_fail_memory(err);
        return NULL;
    }
    const double frame_s = EVERY * (double)shape.hop_samples / shape.rate_hz;
    const size_t bins = (size_t)shape.bin_count;
    minima->shape = shape;
    minima->keep = (float)exp(-frame_s / SMOOTHING_S);
    minima->search_frames = (int)(SEARCH_S / frame_s);
    minima->smooth = calloc(bins, sizeof *minima->smooth);
    minima->waiting = calloc(DELAY * bins, sizeof *minima->waiting);
    minima->rows = calloc(MOST_ROWS * bins, sizeof *minima->rows);
    minima->lowest = malloc(bins * sizeof *minima->lowest);
    if (!minima->lowest || !minima->smooth || !minima->waiting || !minima->rows) {
        tt_fail_memory(err);
        tt_floor_minima_destroy(minima);
        return NULL;
    }
    for (size_t i = 0; i < bins; i++)
        minima->lowest[i] = NOTHING_KNOWN;
    return minima;
}

void tt_floor_minima_destroy(struct tt_floor_minima *minima)
{
    if (!minima)
        return;
    free(minima->smooth);
    free(minima->waiting);
    free(minima->rows);
    free(minima->lowest);
    free(minima);
}

static void take_minimum(struct tt_floor_minima *minima, const float *power)
{
    const int bins = minima->shape.bin_count;
    if (minima->row_count == MOST_ROWS)
        return;
    float *row = minima->rows + (size_t)minima->row_count * (size_t)bins;
    if (minima->frames_in_search == 0) {
        memcpy(row, power, (size_t)bins * sizeof *row);
    } else {
        for (int i = 0; i < bins; i++)
            row[i] = power[i] < row[i] ? power[i] : row[i];
    }
    for (int i = 0; i < bins; i++)
        minima->lowest[i] = power[i] < minima->lowest[i] ? power[i] : minima->lowest[i];
    if (++minima->frames_in_search == minima->search_frames) {
        minima->frames_in_search = 0;
        memcpy(minima->lowest, row, (size_t)bins * sizeof *row);
        minima->row_count++;
    }
}

/* Smooths less where the voice stands far over the last minimum, so that it is left behind at once when it stops
 * (Martin 2001, the optimal smoothing, with the minimum in place of the estimate). */
TT_WIDE static void smooth_bins(float *smooth, const float *power, const float *lowest, float keep, int bins)
{
    for (int i = 0; i < bins; i++) {
        const float ratio = smooth[i] / (lowest[i] + POWER_LEAST),
                    over = ratio > FREE_OVER_MINIMUM ? ratio / FREE_OVER_MINIMUM - 1.0F : 0.0F;
        const float kept = keep / (1.0F + over * over);
        smooth[i] = kept * smooth[i] + (1.0F - kept) * power[i];
    }
}

void tt_floor_minima_add(struct tt_floor_minima *minima, const float *power)
{
    const int bins = minima->shape.bin_count;
    if (minima->phase++ % EVERY != 0)
        return;
    /* The first frames are averaged evenly, so that no start value is needed. */
    const float even = 1.0F - 1.0F / (float)(minima->smoothed_frames + 1);
    const float keep = even < minima->keep ? even : minima->keep;
    smooth_bins(minima->smooth, power, minima->lowest, keep, bins);
    minima->smoothed_frames++;
    if (keep < minima->keep)
        return;
    if (minima->waiting_count == DELAY) {
        take_minimum(minima, minima->waiting);
        memmove(minima->waiting, minima->waiting + bins, (DELAY - 1) * (size_t)bins * sizeof(float));
        minima->waiting_count--;
    }
    memcpy(minima->waiting + (size_t)minima->waiting_count * (size_t)bins, minima->smooth,
           (size_t)bins * sizeof(float));
    minima->waiting_count++;
}

void tt_floor_minima_interrupt(struct tt_floor_minima *minima)
{
    minima->waiting_count = 0;
    minima->smoothed_frames = 0;
}

bool tt_floor_minima_take(struct tt_floor_minima *minima, float *power)
{
    const int bins = minima->shape.bin_count;
    double values[MOST_ROWS];
    /* A part of a search window counts when nothing else is there, or when it is half full. */
    const bool counts = minima->frames_in_search > 0 &&
                        (minima->row_count == 0 || minima->frames_in_search > minima->search_frames / 2);
    const int rows = minima->row_count + (counts ? 1 : 0);
    minima->row_count = minima->frames_in_search = 0;
    if (rows == 0)
        return false;
    const float bias = (float)pow(10.0, BIAS_DB / 10.0);
    for (int i = 0; i < bins; i++) {
        for (int r = 0; r < rows; r++)
            values[r] = (double)minima->rows[(size_t)r * (size_t)bins + (size_t)i];
        power[i] = tt_floor_median(values, rows) * bias + POWER_LEAST;
    }
    return true;
}
