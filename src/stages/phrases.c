/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/phrases.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "stages/spoken.h"

/* Shorter silences belong to the words: stops last up to about this long (measured: units split at 150 ms worked best). */
static const double least_pause_s = 0.15;
/* But nothing that can be heard well for so long is a pause, too, even where the room fills it: the resolution of the steps (spoken.h). */
static const double least_hush_s = 0.0999;
/* Slopes are taken over this many rows on both sides. */
enum { SLOPE_REACH = 2 };
/* Unrelated pairs compared for the likeness that chance gives, and the rows of each. */
enum { NULL_PAIRS = 400, LEAST_PAIRS = 30, NULL_ROWS = 75 };
/* Used when a session is too short to measure: what sessions in three languages gave. */
static const float usual_null_mean = 0.25f, usual_null_deviation = 0.08f, least_deviation = 0.04f;
static const double unrelated_s = 30.0;   /* pairs at least so far apart */

static double running_s(const struct tt_take_view *take, int64_t sample)
{
    return take->clock_s + (double)sample / take->heard->facts.rate_hz;
}

static void add_run(struct tt_phrases *phrases, size_t take_index, const struct tt_run *run)
{
    const struct tt_take_view *take = &phrases->view->takes[take_index];
    const double rate = take->heard->facts.rate_hz;
    struct tt_phrase *last = phrases->count ? &phrases->all[phrases->count - 1] : NULL;
    if (last && last->take == take_index && (double)(run->start_sample - last->end_sample) / rate < least_pause_s
        && (double)(run->loud_start_sample - last->loud_end_sample) / rate < least_hush_s) {
        double a = (double)(last->end_sample - last->start_sample), b = (double)(run->end_sample - run->start_sample);
        last->level_db = run->level_db > last->level_db ? run->level_db : last->level_db;
        last->over_floor_db = (float)((a * (double)last->over_floor_db + b * (double)run->over_floor_db) / (a + b));
        last->end_sample = run->end_sample;
        last->loud_end_sample = run->loud_end_sample;
        last->end_s = running_s(take, run->end_sample);
        return;
    }
    phrases->all[phrases->count++] = (struct tt_phrase){
        .take = take_index, .start_sample = run->start_sample, .end_sample = run->end_sample,
        .loud_start_sample = run->loud_start_sample, .loud_end_sample = run->loud_end_sample,
        .start_s = running_s(take, run->start_sample), .end_s = running_s(take, run->end_sample),
        .level_db = run->level_db, .over_floor_db = run->over_floor_db};
}

static bool can_be_compared(const struct tt_heard *heard) { return heard->facts.rate_hz > 0 && heard->facts.feature_hop_samples > 0; }

static size_t count_stretches(const struct tt_heard *heard)
{
    if (!can_be_compared(heard)) return 0;
    const struct tt_spoken spoken = tt_spoken_begin(heard);
    struct tt_run stretch;
    size_t count = 0;
    for (size_t r = 0; r < heard->run_count; r++)
        for (int64_t from = heard->runs[r].start_sample; tt_spoken_next(&spoken, &heard->runs[r], &from, &stretch);) count++;
    return count;
}

static void add_take(struct tt_phrases *phrases, size_t take, const struct tt_knocks_found *knocks)
{
    const struct tt_heard *heard = phrases->view->takes[take].heard;
    const struct tt_spoken spoken = tt_spoken_begin(heard);
    struct tt_run stretch;
    for (size_t r = 0; r < heard->run_count; r++) {
        if (tt_knocks_hold(knocks, take, &heard->runs[r])) continue;
        for (int64_t from = heard->runs[r].start_sample; tt_spoken_next(&spoken, &heard->runs[r], &from, &stretch);) add_run(phrases, take, &stretch);
    }
    if (phrases->rows_per_s <= 0.0) phrases->rows_per_s = (double)heard->facts.rate_hz / heard->facts.feature_hop_samples;
}

/* Row r of a take is centred on sample r * hop; a phrase has the rows whose centres lie where it can be heard well: what is fainter sounds like the room. */
static void number_rows(struct tt_phrases *phrases)
{
    for (size_t p = 0; p < phrases->count; p++) {
        struct tt_phrase *phrase = &phrases->all[p];
        const struct tt_heard *heard = phrases->view->takes[phrase->take].heard;
        int64_t hop = heard->facts.feature_hop_samples, most = (int64_t)heard->feature_count;
        int64_t first = (phrase->loud_start_sample + hop - 1) / hop, end = (phrase->loud_end_sample + hop - 1) / hop;
        if (first > most) first = most;
        if (end > most) end = most;
        phrase->take_row = first;
        phrase->row = phrases->row_count;
        phrase->row_count = end > first ? (size_t)(end - first) : 0;
        phrases->row_count += phrase->row_count;
    }
}

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

static void measure_spread(struct tt_phrases *phrases)
{
    double sum[TT_ALIGN_LANES] = {0}, squares[TT_ALIGN_LANES] = {0};
    float vector[TT_ALIGN_LANES];
    for (size_t p = 0; p < phrases->count; p++) {
        const struct tt_phrase *phrase = &phrases->all[p];
        const struct tt_heard *heard = phrases->view->takes[phrase->take].heard;
        for (size_t r = 0; r < phrase->row_count; r++) {
            raw_row(heard, phrase->take_row + (int64_t)r, vector);
            for (int l = 0; l < TT_ALIGN_LANES; l++) {
                sum[l] += (double)vector[l];
                squares[l] += (double)vector[l] * (double)vector[l];
            }
        }
    }
    double n = phrases->row_count ? (double)phrases->row_count : 1.0;
    for (int l = 0; l < TT_ALIGN_LANES; l++) {
        double mean = sum[l] / n, variance = squares[l] / n - mean * mean;
        phrases->mean[l] = (float)mean;
        phrases->per_deviation[l] = variance > 1e-6 ? (float)(1.0 / sqrt(variance)) : 0.0f;
    }
}

static void make_row(const struct tt_phrases *phrases, const struct tt_phrase *phrase, size_t row, int16_t *out, size_t stride)
{
    float vector[TT_ALIGN_LANES];
    raw_row(phrases->view->takes[phrase->take].heard, phrase->take_row + (int64_t)(row - phrase->row), vector);
    for (int l = 0; l < TT_ALIGN_LANES; l++) vector[l] = (vector[l] - phrases->mean[l]) * phrases->per_deviation[l];
    tt_align_row(vector, out, stride);
}

/* Two phrases drawn by a fixed sequence, long enough and far enough apart to have nothing to do with each other. */
static bool draw_pair(const struct tt_phrases *phrases, uint64_t *state, const struct tt_phrase *pair[2])
{
    for (int k = 0; k < 2; k++) {
        *state = *state * 6364136223846793005u + 1442695040888963407u;
        pair[k] = &phrases->all[(size_t)(*state >> 33) % phrases->count];
        if (pair[k]->row_count < NULL_ROWS) return false;
    }
    return fabs(pair[0]->start_s - pair[1]->start_s) >= unrelated_s;
}

/* Likeness along the best alignment of their beginnings, as if it had to go on. */
static float chance_likeness(const struct tt_phrases *phrases, struct tt_align *align, const struct tt_phrase *pair[2], int16_t *rows)
{
    enum { STRIDE = 2 * NULL_ROWS };
    for (size_t k = 0; k < 2; k++)
        for (size_t r = 0; r < NULL_ROWS; r++) make_row(phrases, pair[k], pair[k]->row + r, rows + k * NULL_ROWS + r, STRIDE);
    const float unlimited = 1e6f;
    struct tt_align_task task = {.rows = {rows, STRIDE}, .x_start = 0, .x_end = NULL_ROWS, .y_start = NULL_ROWS, .y_end = 2 * NULL_ROWS,
                                 .tau = usual_null_mean, .beam = unlimited, .least = -unlimited};
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
static bool measure_null(struct tt_phrases *phrases, struct tt_error *err)
{
    phrases->null_mean = usual_null_mean;
    phrases->null_deviation = usual_null_deviation;
    if (phrases->count < 12) return true;
    struct tt_align *align = tt_align_create(err);
    int16_t *rows = malloc(2 * NULL_ROWS * TT_ALIGN_LANES * sizeof *rows);
    if (!align || !rows) { tt_align_destroy(align); free(rows); return tt_fail_memory(err); }
    uint64_t state = 0x9E3779B97F4A7C15u;
    float likeness[NULL_PAIRS];
    size_t pairs = 0;
    for (int tried = 0; tried < NULL_PAIRS; tried++) {
        const struct tt_phrase *pair[2];
        if (draw_pair(phrases, &state, pair)) likeness[pairs++] = chance_likeness(phrases, align, pair, rows);
    }
    tt_align_destroy(align);
    free(rows);
    if (pairs < LEAST_PAIRS) return true;
    /* The lower half alone: lines that do say the same would widen the upper one. */
    qsort(likeness, pairs, sizeof *likeness, by_value);
    phrases->null_mean = likeness[pairs / 2];
    phrases->null_deviation = phrases->null_mean - likeness[(size_t)(0.159 * (double)pairs)];
    if (phrases->null_deviation < least_deviation) phrases->null_deviation = least_deviation;
    return true;
}

struct level_share { float level_db; double seconds; };
static int by_level(const void *a, const void *b)
{
    const struct level_share *x = a, *y = b;
    return x->level_db < y->level_db ? -1 : x->level_db > y->level_db;
}

static bool measure_level(struct tt_phrases *phrases, struct tt_error *err)
{
    if (phrases->count == 0) return true;
    struct level_share *shares = malloc(phrases->count * sizeof *shares);
    if (!shares) return tt_fail_memory(err);
    double total = 0.0, so_far = 0.0;
    for (size_t p = 0; p < phrases->count; p++) {
        const struct tt_phrase *phrase = &phrases->all[p];
        shares[p] = (struct level_share){phrase->level_db, phrase->end_s - phrase->start_s};
        total += shares[p].seconds;
    }
    qsort(shares, phrases->count, sizeof *shares, by_level);
    size_t at = 0;
    while (at + 1 < phrases->count && so_far + shares[at].seconds < total / 2) so_far += shares[at++].seconds;
    phrases->typical_level_db = shares[at].level_db;
    free(shares);
    return true;
}

bool tt_phrases_open(const struct tt_session_view *view, const struct tt_knocks_found *knocks, struct tt_phrases *phrases, struct tt_error *err)
{
    *phrases = (struct tt_phrases){.view = view};
    size_t most = 0;
    for (size_t t = 0; t < view->count; t++) most += count_stretches(view->takes[t].heard);
    phrases->all = calloc(most ? most : 1, sizeof *phrases->all);
    if (!phrases->all) return tt_fail_memory(err);
    for (size_t t = 0; t < view->count; t++)
        if (can_be_compared(view->takes[t].heard)) add_take(phrases, t, knocks);
    number_rows(phrases);
    measure_spread(phrases);
    if (!measure_null(phrases, err) || !measure_level(phrases, err)) { tt_phrases_close(phrases); return false; }
    return true;
}

void tt_phrases_close(struct tt_phrases *phrases)
{
    free(phrases->all);
    free(phrases->window);
    *phrases = (struct tt_phrases){0};
}

/* Room for the rows asked for and as many again, so that the window is moved seldom. */
static bool make_room(struct tt_phrases *phrases, size_t from, size_t to, struct tt_error *err)
{
    size_t keep = from - phrases->window_row, kept = phrases->window_count - keep;
    if (to - from > phrases->capacity / 2) {
        size_t capacity = 2 * (to - from) + 1024;
        int16_t *bigger = malloc(capacity * TT_ALIGN_LANES * sizeof *bigger);
        if (!bigger) return tt_fail_memory(err);
        for (size_t l = 0; phrases->window && l < TT_ALIGN_LANES; l++)
            memcpy(bigger + l * capacity, phrases->window + l * phrases->capacity + keep, kept * sizeof *bigger);
        free(phrases->window);
        phrases->window = bigger;
        phrases->capacity = capacity;
    } else {
        for (size_t l = 0; l < TT_ALIGN_LANES; l++)
            memmove(phrases->window + l * phrases->capacity, phrases->window + l * phrases->capacity + keep, kept * sizeof *phrases->window);
    }
    phrases->window_row = from;
    phrases->window_count = kept;
    return true;
}

bool tt_phrases_reach(struct tt_phrases *phrases, size_t from, size_t to, struct tt_error *err)
{
    if (to > phrases->row_count) to = phrases->row_count;
    if (from > to) from = to;
    if (from < phrases->window_row || from > phrases->window_row + phrases->window_count) {
        phrases->window_row = from;
        phrases->window_count = 0;
    }
    if (to <= phrases->window_row + phrases->window_count) return true;
    if (to - phrases->window_row > phrases->capacity && !make_room(phrases, from, to, err)) return false;
    size_t row = phrases->window_row + phrases->window_count;
    for (size_t p = tt_phrases_at(phrases, row); row < to; row++) {
        while (row >= phrases->all[p].row + phrases->all[p].row_count) p++;
        make_row(phrases, &phrases->all[p], row, phrases->window + (row - phrases->window_row), phrases->capacity);
    }
    phrases->window_count = to - phrases->window_row;
    return true;
}

struct tt_align_rows tt_phrases_rows(const struct tt_phrases *phrases)
{
    return (struct tt_align_rows){phrases->window, phrases->capacity};
}

size_t tt_phrases_at(const struct tt_phrases *phrases, size_t row)
{
    size_t low = 0, high = phrases->count;
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (phrases->all[middle].row <= row) low = middle;
        else high = middle;
    }
    return low;
}

bool tt_phrases_split(struct tt_phrases *phrases, size_t index, size_t rows, struct tt_error *err)
{
    struct tt_phrase *bigger = realloc(phrases->all, (phrases->count + 1) * sizeof *bigger);
    if (!bigger) return tt_fail_memory(err);
    phrases->all = bigger;
    struct tt_phrase *phrase = &phrases->all[index];
    const struct tt_take_view *take = &phrases->view->takes[phrase->take];
    memmove(phrase + 2, phrase + 1, (phrases->count - index - 1) * sizeof *phrase);
    phrases->count++;
    phrase[1] = phrase[0];
    phrase[1].row += rows;
    phrase[1].row_count -= rows;
    phrase[1].take_row += (int64_t)rows;
    phrase[1].start_sample = phrase[1].take_row * take->heard->facts.feature_hop_samples - take->heard->facts.feature_hop_samples / 2;
    phrase[1].start_s = take->clock_s + (double)phrase[1].start_sample / take->heard->facts.rate_hz;
    phrase[0].row_count = rows;
    phrase[0].end_sample = phrase[1].start_sample;
    phrase[0].end_s = phrase[1].start_s;
    return true;
}
