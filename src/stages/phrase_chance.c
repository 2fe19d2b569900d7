/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "stages/phrase_rows.h"

/* Unrelated pairs compared for the likeness that chance gives, and the rows of each. */
enum { NULL_PAIRS = 400, LEAST_PAIRS = 30, NULL_ROWS = 75 };
/* Used when a session is too short to measure: what sessions in three languages gave. */
static const float usual_null_mean = 0.25f, usual_null_deviation = 0.08f, least_deviation = 0.04f;
static const double unrelated_s = 30.0; /* pairs at least so far apart */

/* Two phrases drawn by a fixed sequence, long enough and far enough apart to have nothing to do with each other. */
static bool draw_pair(const struct tt_phrases *phrases, uint64_t *state, const struct tt_phrase *pair[2])
{
    for (int k = 0; k < 2; k++) {
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        pair[k] = &phrases->all[(size_t)(*state >> 33) % phrases->count];
        if (pair[k]->row_count < NULL_ROWS)
            return false;
    }
    return fabs(pair[0]->start_s - pair[1]->start_s) >= unrelated_s;
}

/* Likeness along the best alignment of their beginnings, as if it had to go on. */
static float chance_likeness(const struct tt_phrases *phrases, struct tt_align *align, const struct tt_phrase *pair[2],
                             int16_t *rows)
{
    enum { STRIDE = 2 * NULL_ROWS };
    for (size_t k = 0; k < 2; k++)
        for (size_t r = 0; r < NULL_ROWS; r++)
            tt_phrase_row_make(phrases, pair[k], pair[k]->row + r, rows + k * NULL_ROWS + r, STRIDE);
    const float unlimited = 1e6f;
    struct tt_align_task task = {.rows = {rows, STRIDE},
                                 .x_start = 0,
                                 .x_end = NULL_ROWS,
                                 .y_start = NULL_ROWS,
                                 .y_end = 2 * NULL_ROWS,
                                 .tau = usual_null_mean,
                                 .beam = unlimited,
                                 .least = -unlimited};
    const struct tt_align_end *ends;
    size_t x = tt_align_run(align, &task, &ends) - 1;
    return ends[x].score / (float)(x + (size_t)ends[x].y + 2) + usual_null_mean;
}

static int by_value(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return x < y ? -1 : x > y;
}

/* How alike two unrelated beginnings are in this session. */
bool tt_phrases_measure_chance(struct tt_phrases *phrases, struct tt_error *err)
{
    phrases->null_mean = usual_null_mean;
    phrases->null_deviation = usual_null_deviation;
    if (phrases->count < 12)
        return true;
    struct tt_align *align = tt_align_create(err);
    int16_t *rows = malloc(2 * NULL_ROWS * TT_ALIGN_LANES * sizeof *rows);
    if (!align || !rows) {
        tt_align_destroy(align);
        free(rows);
        return tt_fail_memory(err);
    }
    uint64_t state = 0x9E3779B97F4A7C15u;
    float likeness[NULL_PAIRS];
    size_t pairs = 0;
    for (int tried = 0; tried < NULL_PAIRS; tried++) {
        const struct tt_phrase *pair[2];
        if (draw_pair(phrases, &state, pair))
            likeness[pairs++] = chance_likeness(phrases, align, pair, rows);
    }
    tt_align_destroy(align);
    free(rows);
    if (pairs < LEAST_PAIRS)
        return true;
    /* The lower half alone: lines that do say the same would widen the upper one. */
    qsort(likeness, pairs, sizeof *likeness, by_value);
    phrases->null_mean = likeness[pairs / 2];
    phrases->null_deviation = phrases->null_mean - likeness[(size_t)(0.159 * (double)pairs)];
    if (phrases->null_deviation < least_deviation)
        phrases->null_deviation = least_deviation;
    return true;
}
