/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/phrase_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Slopes are taken over this many rows on both sides. */
enum { SLOPE_REACH = 2 };
/* So many rows are read before their memory is let go: 512 KiB, 12 minutes. */
enum { ROWS_HELD = 1 << 16 };
static const float tau_deviations = 2.0f, least_tau = 0.43f, most_tau = 0.52f;

/* Cepstra and their slopes (the regression over two rows on both sides), in quantiser steps. */
static void raw_row(const struct tt_heard *heard, int64_t row, float vector[TT_ALIGN_LANES])
{
    int64_t most = (int64_t)heard->feature_count - 1;
    const int8_t *near[2 * SLOPE_REACH + 1];
    for (int k = -SLOPE_REACH; k <= SLOPE_REACH; k++) {
        int64_t r = row + k < 0 ? 0 : row + k > most ? most : row + k;
        near[k + SLOPE_REACH] = heard->cepstra + r * TT_CEPSTRA;
    }
    for (int c = 0; c < TT_CEPSTRA; c++) {
        vector[c] = (float)near[2][c];
        vector[TT_CEPSTRA + c] = (float)(2 * (near[4][c] - near[0][c]) + near[3][c] - near[1][c]) / 10.0f;
    }
}

void tt_phrase_rows_measure(struct tt_phrases *phrases)
{
    double sum[TT_ALIGN_LANES] = {0}, squares[TT_ALIGN_LANES] = {0};
    float vector[TT_ALIGN_LANES];
    size_t held = 0;
    for (size_t p = 0; p < phrases->count; p++) {
        const struct tt_phrase *phrase = &phrases->all[p];
        const struct tt_heard *heard = phrases->view->takes[phrase->take].heard;
        const bool is_last = p + 1 == phrases->count || phrases->all[p + 1].take != phrase->take;
        for (size_t r = 0; r < phrase->row_count; r++) {
            raw_row(heard, phrase->take_row + (int64_t)r, vector);
            for (int l = 0; l < TT_ALIGN_LANES; l++) {
                sum[l] += (double)vector[l];
                squares[l] += (double)vector[l] * (double)vector[l];
            }
        }
        held += phrase->row_count;
        if (held >= ROWS_HELD || is_last) {
            tt_mapped_let_go(&heard->mapped);
            held = 0;
        }
    }
    double n = phrases->row_count ? (double)phrases->row_count : 1.0;
    for (int l = 0; l < TT_ALIGN_LANES; l++) {
        double mean = sum[l] / n, variance = squares[l] / n - mean * mean;
        phrases->mean[l] = (float)mean;
        phrases->per_deviation[l] = variance > 1e-6 ? (float)(1.0 / sqrt(variance)) : 0.0f;
    }
}

void tt_phrase_row_make(const struct tt_phrases *phrases, const struct tt_phrase *phrase, size_t row, int16_t *out,
                        size_t stride)
{
    float vector[TT_ALIGN_LANES];
    raw_row(phrases->view->takes[phrase->take].heard, phrase->take_row + (int64_t)row - (int64_t)phrase->row, vector);
    for (int l = 0; l < TT_ALIGN_LANES; l++)
        vector[l] = (vector[l] - phrases->mean[l]) * phrases->per_deviation[l];
    tt_align_row(vector, out, stride);
}

/* Room for the rows asked for and as many again, so that the window is moved seldom. */
static bool make_room(struct tt_phrases *phrases, size_t from, size_t to, struct tt_error *err)
{
    size_t keep = from - phrases->window_row, kept = phrases->window_count - keep;
    if (to - from > phrases->capacity / 2) {
        size_t capacity = 2 * (to - from) + 1024;
        int16_t *bigger = malloc(capacity * TT_ALIGN_LANES * sizeof *bigger);
        if (!bigger)
            return tt_fail_memory(err);
        for (size_t l = 0; phrases->window && l < TT_ALIGN_LANES; l++)
            memcpy(bigger + l * capacity, phrases->window + l * phrases->capacity + keep, kept * sizeof *bigger);
        free(phrases->window);
        phrases->window = bigger;
        phrases->capacity = capacity;
    } else {
        for (size_t l = 0; l < TT_ALIGN_LANES; l++)
            memmove(phrases->window + l * phrases->capacity, phrases->window + l * phrases->capacity + keep,
                    kept * sizeof *phrases->window);
    }
    phrases->window_row = from;
    phrases->window_count = kept;
    if (from < phrases->row_count)
        tt_mapped_let_go(&phrases->view->takes[phrases->all[tt_phrases_at(phrases, from)].take].heard->mapped);
    return true;
}

bool tt_phrases_reach(struct tt_phrases *phrases, size_t from, size_t to, struct tt_error *err)
{
    if (to > phrases->row_count)
        to = phrases->row_count;
    if (from > to)
        from = to;
    if (from < phrases->window_row || from > phrases->window_row + phrases->window_count) {
        phrases->window_row = from;
        phrases->window_count = 0;
    }
    if (to <= phrases->window_row + phrases->window_count)
        return true;
    if (to - phrases->window_row > phrases->capacity && !make_room(phrases, from, to, err))
        return false;
    size_t row = phrases->window_row + phrases->window_count;
    for (size_t p = tt_phrases_at(phrases, row); row < to; row++) {
        while (row >= tt_phrase_row_end(&phrases->all[p]))
            p++;
        tt_phrase_row_make(phrases, &phrases->all[p], row, phrases->window + (row - phrases->window_row),
                           phrases->capacity);
    }
    phrases->window_count = to - phrases->window_row;
    return true;
}

struct tt_align_rows tt_phrases_rows(const struct tt_phrases *phrases)
{
    return (struct tt_align_rows){phrases->window, phrases->capacity};
}

float tt_phrases_tau(const struct tt_phrases *phrases)
{
    return fminf(fmaxf(phrases->null_mean + tau_deviations * phrases->null_deviation, least_tau), most_tau);
}

void tt_phrases_head_likeness(const struct tt_phrases *phrases, size_t head, size_t place, int count, float *sums,
                              int16_t *scratch)
{
    const struct tt_align_rows rows = tt_phrases_rows(phrases);
    memset(sums, 0, (size_t)count * sizeof *sums);
    for (size_t k = 0; k < TT_HEAD_ROWS; k++) {
        tt_align_compare(&rows, head - phrases->window_row + k, place - phrases->window_row + k, count, scratch);
        for (int t = 0; t < count; t++)
            sums[t] += (float)scratch[t];
    }
}

float tt_phrases_head_sum(const struct tt_phrases *phrases, float deviations)
{
    return (phrases->null_mean + deviations * phrases->null_deviation) * (float)TT_HEAD_ROWS * (float)TT_ALIGN_SAME;
}
