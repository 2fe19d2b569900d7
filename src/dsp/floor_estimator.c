/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From frames to a floor track. Quiet frames are gathered into steps of half a second (outliers left out), steps into windows;
 * where the level of the steps jumps, the window is divided there. Without any quiet frame, minima of smoothed power serve. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "dsp/floor_minima.h"
#include "dsp/floor_steps.h"
#include "dsp/floor_track.h"

/* Total power under this is digital silence: -140 dBFS is far below the noise of any converter (common practice, no source). */
static const double SILENCE_MEAN_SQUARE = 1e-14;
/* Quiet time that a node needs, and how much further than its own window it may look for it. */
static const double LEAST_QUIET_S = 0.5;
static const double LEAN_WINDOWS = 1.5;
/* A jump is looked for over this much quiet time to each side, and counts from this step up. */
static const double JUMP_SIDE_S = 5.0;
static const double JUMP_LEAST_S = 0.75;
static const double JUMP_DB = 3.0;
/* Two jumps are at least this far apart. */
static const double JUMP_APART_S = 3.0;
/* Steps this far above the median of their surroundings hold something else than the room. */
static const double STEP_OUTLIER_DB = 4.0;

/* Within a window the level is followed at this grain, in the bands of the steps, where that makes a difference from this up. */
enum { DRIFT_PARTS = 5 };
static const double DRIFT_REACH_S = 2.0;
static const double DRIFT_QUIET_S = 0.25;
static const double DRIFT_DB = 0.5;

enum { GUARD_FRAMES = 4 }; /* frames whose window may reach into digital silence */

/* Time kept behind the oldest window without nodes and ahead of it, for leaning and for jumps. */
static const double HORIZON_S = 15.0;

struct tt_floor_estimator {
    struct tt_stft_shape shape;
    double window_s;
    int64_t window_steps;         /* a window, in steps */
    int64_t horizon_steps;
    struct tt_floor_steps steps;
    struct tt_floor_minima *minima;
    int guard;                    /* frames still too near a silence that ended */
    int64_t settled_windows;      /* windows that have their nodes */
    int64_t searched;             /* steps before this one were searched for jumps */
    int64_t *jumps;               /* positions where the room changed, rising */
    int jump_count, jump_room;
    struct tt_floor_track track;  /* from pauses */
    int node_room;
    struct tt_floor_track low;    /* from minima, while there is no pause */
    int low_room;
    float *row, *shifted;
};

static bool is_silent(const struct tt_stft_shape *shape, const float *power)
{
    float sums[8] = {0};
    const int count = shape->bin_count & ~7;
    for (int i = 0; i < count; i += 8)
        for (int j = 0; j < 8; j++) sums[j] += power[i + j];
    double sum = 0.0;
    for (int j = 0; j < 8; j++) sum += (double)sums[j];
    return sum * 2.0 / shape->window_samples < SILENCE_MEAN_SQUARE;
}

struct tt_floor_estimator *tt_floor_estimator_create(struct tt_stft_shape shape, double window_s, struct tt_error *err)
{
    struct tt_floor_estimator *estimator = calloc(1, sizeof *estimator);
    if (!estimator) {
        tt_fail_memory(err);
        return NULL;
    }
    estimator->shape = shape;
    estimator->track.shape = shape;
    estimator->low.shape = shape;
    estimator->window_s = window_s;
    estimator->minima = tt_floor_minima_create(shape, err);
    estimator->row = malloc((size_t)shape.bin_count * sizeof *estimator->row);
    estimator->shifted = malloc((size_t)shape.bin_count * sizeof *estimator->shifted);
    const double ring_s = (1.0 + 2.0 * LEAN_WINDOWS) * window_s + 4.0 * HORIZON_S;
    if (!estimator->minima || !estimator->row || !estimator->shifted || !tt_floor_steps_init(&estimator->steps, shape, ring_s, err)) {
        tt_fail_memory(err);
        tt_floor_estimator_destroy(estimator);
        return NULL;
    }
    const double step_s = (double)estimator->steps.step_samples / shape.rate_hz;
    estimator->window_steps = (int64_t)ceil(window_s / step_s);
    if (estimator->window_steps < 1) estimator->window_steps = 1;
    estimator->horizon_steps = (int64_t)ceil(HORIZON_S / step_s);
    return estimator;
}

void tt_floor_estimator_destroy(struct tt_floor_estimator *estimator)
{
    if (!estimator) return;
    tt_floor_minima_destroy(estimator->minima);
    tt_floor_steps_free(&estimator->steps);
    tt_floor_track_free(&estimator->track);
    tt_floor_track_free(&estimator->low);
    free(estimator->jumps);
    free(estimator->row);
    free(estimator->shifted);
    free(estimator);
}

static bool add_node(struct tt_floor_track *track, int *room, int64_t sample, const float *power, struct tt_error *err)
{
    const size_t bins = (size_t)track->shape.bin_count;
    if (track->node_count == *room) {
        const size_t wanted = *room ? 2 * (size_t)*room : 16;
        int64_t *samples = realloc(track->node_sample, wanted * sizeof *samples);
        if (samples) track->node_sample = samples;
        float *rows = realloc(track->power, wanted * bins * sizeof *rows);
        if (rows) track->power = rows;
        if (!samples || !rows) return tt_fail_memory(err);
        *room = (int)wanted;
    }
    const int at = track->node_count;
    if (at > 0 && sample <= track->node_sample[at - 1]) sample = track->node_sample[at - 1] + 1;
    track->node_sample[at] = sample;
    memcpy(track->power + (size_t)at * bins, power, bins * sizeof *power);
    track->node_count++;
    return true;
}

static double quiet_s(const struct tt_floor_estimator *estimator, int frames)
{
    return (double)frames * estimator->shape.hop_samples / estimator->shape.rate_hz;
}

/* Band levels of the quiet time next to a step, going back (direction -1) or on (1), as medians over steps. */
static bool side_levels(const struct tt_floor_estimator *estimator, int64_t from, int direction, float *levels)
{
    float values[TT_FLOOR_BANDS][32];
    int count = 0, frames = 0;
    for (int64_t i = 0; i < estimator->horizon_steps && count < 32; i++) {
        const struct tt_floor_step *step = tt_floor_steps_get(&estimator->steps, from + direction * i);
        if (!step || quiet_s(estimator, frames) >= JUMP_SIDE_S) break;
        if (step->frames == 0) continue;
        for (int b = 0; b < TT_FLOOR_BANDS; b++) values[b][count] = step->band_db[b];
        frames += step->frames;
        count++;
    }
    if (quiet_s(estimator, frames) < JUMP_LEAST_S) return false;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) levels[b] = tt_floor_median(values[b], count);
    return true;
}

/* How far the room's level differs before and from a step on, in dB over the bands; 0 where it cannot be told. */
static double jump_size(const struct tt_floor_estimator *estimator, int64_t step)
{
    float before[TT_FLOOR_BANDS], after[TT_FLOOR_BANDS];
    if (!side_levels(estimator, step - 1, -1, before) || !side_levels(estimator, step, 1, after)) return 0.0;
    double sum = 0.0;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) sum += (double)((after[b] - before[b]) * (after[b] - before[b]));
    return sqrt(sum / TT_FLOOR_BANDS);
}

static bool add_jump(struct tt_floor_estimator *estimator, int64_t position, struct tt_error *err)
{
    if (estimator->jump_count == estimator->jump_room) {
        const size_t wanted = estimator->jump_room ? 2 * (size_t)estimator->jump_room : 16;
        int64_t *jumps = realloc(estimator->jumps, wanted * sizeof *jumps);
        if (!jumps) return tt_fail_memory(err);
        estimator->jumps = jumps;
        estimator->jump_room = (int)wanted;
    }
    estimator->jumps[estimator->jump_count++] = position;
    return true;
}

/* Whether the jump at a step is the largest around it; of equal ones (steps without quiet frames between) the first. */
static bool is_largest_jump(const struct tt_floor_estimator *estimator, int64_t step, double size)
{
    const int64_t apart = (int64_t)(JUMP_APART_S * estimator->shape.rate_hz) / estimator->steps.step_samples;
    for (int64_t other = step - apart; other <= step + apart; other++) {
        const double other_size = other == step ? 0.0 : jump_size(estimator, other);
        if (other_size > size || (other < step && other_size == size && size > 0.0)) return false;
    }
    return true;
}

/* Behind the first of the steps that show a jump alike lies a stretch without quiet frames; the jump is put into its middle. */
static int64_t middle_of_jump(const struct tt_floor_estimator *estimator, int64_t step)
{
    int64_t end = step;
    for (const struct tt_floor_step *next; (next = tt_floor_steps_get(&estimator->steps, end)) && next->frames == 0;) end++;
    return (step + end) * estimator->steps.step_samples / 2;
}

static bool find_jumps(struct tt_floor_estimator *estimator, int64_t end_step, struct tt_error *err)
{
    for (; estimator->searched < end_step; estimator->searched++) {
        const double size = jump_size(estimator, estimator->searched);
        if (size < JUMP_DB || !is_largest_jump(estimator, estimator->searched, size)) continue;
        if (!add_jump(estimator, middle_of_jump(estimator, estimator->searched), err)) return false;
    }
    return true;
}

/* The stretch without a jump around a position. */
static void room_around(const struct tt_floor_estimator *estimator, int64_t position, int64_t *start, int64_t *end)
{
    *start = INT64_MIN;
    *end = INT64_MAX;
    for (int i = 0; i < estimator->jump_count; i++) {
        if (estimator->jumps[i] <= position) *start = estimator->jumps[i];
        else if (estimator->jumps[i] < *end) *end = estimator->jumps[i];
    }
}

struct span { int64_t first, last; }; /* steps, last included */

static bool has_outlier_bands(const struct tt_floor_step *step, const float *medians)
{
    int count = 0;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) count += (double)(step->band_db[b] - medians[b]) > STEP_OUTLIER_DB;
    return count >= 2;
}

static void span_medians(const struct tt_floor_estimator *estimator, struct span span, float *medians)
{
    float values[512];
    int64_t stride = (span.last - span.first) / 512 + 1;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) {
        int count = 0;
        for (int64_t i = span.first; i <= span.last; i += stride) {
            const struct tt_floor_step *step = tt_floor_steps_get(&estimator->steps, i);
            if (step && step->frames > 0) values[count++] = step->band_db[b];
        }
        medians[b] = tt_floor_median(values, count);
    }
}

/* The mean of a span's quiet frames into estimator->row; returns how many there were. */
static int mean_of_span(struct tt_floor_estimator *estimator, struct span span)
{
    const int bins = estimator->shape.bin_count;
    float medians[TT_FLOOR_BANDS];
    int frames = 0;
    span_medians(estimator, span, medians);
    memset(estimator->row, 0, (size_t)bins * sizeof *estimator->row);
    for (int64_t i = span.first; i <= span.last; i++) {
        const struct tt_floor_step *step = tt_floor_steps_get(&estimator->steps, i);
        if (!step || step->frames == 0 || has_outlier_bands(step, medians)) continue;
        const float *row = tt_floor_steps_row(&estimator->steps, i);
        for (int k = 0; k < bins; k++) estimator->row[k] += (float)step->frames * row[k];
        frames += step->frames;
    }
    for (int k = 0; k < bins && frames > 0; k++) estimator->row[k] /= (float)frames;
    return frames;
}

/* The steps of the same room within reach of a position. */
static struct span span_around(const struct tt_floor_estimator *estimator, int64_t position, int64_t reach_steps)
{
    const int64_t step_samples = estimator->steps.step_samples;
    struct span span = {.first = position / step_samples - reach_steps, .last = position / step_samples + reach_steps};
    int64_t start, end;
    room_around(estimator, position, &start, &end);
    if (span.first < 0) span.first = 0;
    /* A step that a jump falls into belongs to neither room. */
    while (span.first <= span.last && start != INT64_MIN && span.first * step_samples < start) span.first++;
    while (span.last >= span.first && end != INT64_MAX && (span.last + 1) * step_samples > end) span.last--;
    return span;
}

/* The mean of the quiet time around a position, of the same room, into estimator->row; false where there is too little. */
static bool find_colour(struct tt_floor_estimator *estimator, int64_t position)
{
    for (double reach = 0.5; reach <= LEAN_WINDOWS; reach += 0.5) {
        const int64_t steps = (int64_t)(reach * (double)estimator->window_steps);
        if (quiet_s(estimator, mean_of_span(estimator, span_around(estimator, position, steps))) >= LEAST_QUIET_S) return true;
    }
    return false;
}

/* How far the bands of the quiet steps next to a position are from estimator->row, in dB; the position moves into the middle of
 * those steps. False where there are too few. */
static bool find_drift(const struct tt_floor_estimator *estimator, int64_t *position, float *drift)
{
    const int64_t reach = (int64_t)(DRIFT_REACH_S * estimator->shape.rate_hz) / estimator->steps.step_samples;
    const struct span span = span_around(estimator, *position, reach);
    float whole[TT_FLOOR_BANDS], medians[TT_FLOOR_BANDS];
    double power[TT_FLOOR_BANDS] = {0}, middle = 0.0;
    int frames = 0;
    tt_floor_steps_bands(&estimator->steps, estimator->row, whole);
    span_medians(estimator, span, medians);
    for (int64_t i = span.first; i <= span.last; i++) {
        const struct tt_floor_step *step = tt_floor_steps_get(&estimator->steps, i);
        if (!step || step->frames == 0 || has_outlier_bands(step, medians) || has_outlier_bands(step, whole)) continue;
        for (int b = 0; b < TT_FLOOR_BANDS; b++) power[b] += step->frames * tt_power_from_db((double)step->band_db[b]);
        middle += step->frames * ((double)i + 0.5);
        frames += step->frames;
    }
    if (quiet_s(estimator, frames) < DRIFT_QUIET_S) return false;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) drift[b] = (float)tt_db_from_power(power[b] / frames) - whole[b];
    *position = (int64_t)(middle / frames * (double)estimator->steps.step_samples);
    return true;
}

/* A node at the edge of a room, with the level of the quiet steps next to it. */
static bool settle_edge(struct tt_floor_estimator *estimator, int64_t position, struct tt_error *err)
{
    float drift[TT_FLOOR_BANDS];
    int64_t middle = position;
    if (!find_colour(estimator, position)) return true;
    if (!find_drift(estimator, &middle, drift)) return add_node(&estimator->track, &estimator->node_room, position, estimator->row, err);
    tt_floor_steps_shift(&estimator->steps, estimator->row, drift, estimator->shifted);
    return add_node(&estimator->track, &estimator->node_room, position, estimator->shifted, err);
}

/* The middle of a piece: one node where the level stands still, several that follow it where it moves. */
static bool settle_middle(struct tt_floor_estimator *estimator, int64_t start, int64_t end, struct tt_error *err)
{
    float drift[DRIFT_PARTS][TT_FLOOR_BANDS];
    int64_t positions[DRIFT_PARTS];
    const int64_t middle = start + (end - start) / 2;
    int count = 0;
    double most = 0.0;
    if (!find_colour(estimator, middle)) return true;
    for (int p = 0; p < DRIFT_PARTS; p++) {
        positions[count] = start + (end - start) * (2 * p + 1) / (2 * DRIFT_PARTS);
        if (!find_drift(estimator, &positions[count], drift[count])) continue;
        if (count > 0 && positions[count] - positions[count - 1] < 2 * estimator->steps.step_samples) continue;
        double sum = 0.0;
        for (int b = 0; b < TT_FLOOR_BANDS; b++) sum += (double)(drift[count][b] * drift[count][b]) / TT_FLOOR_BANDS;
        most = fmax(most, sqrt(sum));
        count++;
    }
    if (most < DRIFT_DB) return add_node(&estimator->track, &estimator->node_room, middle, estimator->row, err);
    for (int p = 0; p < count; p++) {
        tt_floor_steps_shift(&estimator->steps, estimator->row, drift[p], estimator->shifted);
        if (!add_node(&estimator->track, &estimator->node_room, positions[p], estimator->shifted, err)) return false;
    }
    return true;
}

/* One stretch of a window between jumps: nodes in its middle, and one at each end where the room changes. */
static bool settle_piece(struct tt_floor_estimator *estimator, int64_t start, int64_t end, bool jump_before, bool jump_behind,
                         struct tt_error *err)
{
    if (jump_before && !settle_edge(estimator, start, err)) return false;
    if (!settle_middle(estimator, start, end, err)) return false;
    return !jump_behind || settle_edge(estimator, end - 1, err);
}

static bool settle_window(struct tt_floor_estimator *estimator, int64_t last_step, struct tt_error *err)
{
    const int64_t step_samples = estimator->steps.step_samples;
    const int64_t first = estimator->settled_windows * estimator->window_steps;
    int64_t last = first + estimator->window_steps;
    if (last > last_step) last = last_step;
    const int64_t end = last * step_samples;
    int64_t start = first * step_samples;
    bool jump_before = false;
    for (int i = 0; i < estimator->jump_count; i++) {
        const int64_t jump = estimator->jumps[i];
        if (jump == start) jump_before = true;
        if (jump <= start || jump > end) continue;
        if (!settle_piece(estimator, start, jump, jump_before, true, err)) return false;
        start = jump;
        jump_before = true;
    }
    if (start < end && !settle_piece(estimator, start, end, jump_before, false, err)) return false;
    estimator->settled_windows++;
    return true;
}

/* While no pause was found, each window leaves a node made from minima. */
static bool take_minima(struct tt_floor_estimator *estimator, int64_t end_step, struct tt_error *err)
{
    const int64_t window_samples = estimator->window_steps * estimator->steps.step_samples;
    const int64_t end = end_step * estimator->steps.step_samples, start = (end - 1) / window_samples * window_samples;
    if (estimator->track.node_count > 0 || !tt_floor_minima_take(estimator->minima, estimator->row)) return true;
    return add_node(&estimator->low, &estimator->low_room, start + (end - start) / 2, estimator->row, err);
}

/* Closes the step that has ended; a window gets its nodes when enough of what follows it is known. */
static bool close_step(struct tt_floor_estimator *estimator, struct tt_error *err)
{
    tt_floor_steps_close(&estimator->steps);
    if (estimator->steps.open % estimator->window_steps == 0 && !take_minima(estimator, estimator->steps.open, err)) return false;
    const int64_t lean = (int64_t)(LEAN_WINDOWS * (double)estimator->window_steps) + 1;
    const int64_t ahead = lean > estimator->horizon_steps ? lean : estimator->horizon_steps;
    const int64_t window_end = (estimator->settled_windows + 1) * estimator->window_steps;
    if (estimator->steps.open < window_end + ahead) return true;
    return find_jumps(estimator, estimator->steps.open - estimator->horizon_steps, err) && settle_window(estimator, window_end, err);
}

bool tt_floor_estimator_add(struct tt_floor_estimator *estimator, int64_t sample, const float *power, bool is_quiet, struct tt_error *err)
{
    while (sample >= (estimator->steps.open + 1) * estimator->steps.step_samples)
        if (!close_step(estimator, err)) return false;
    if (is_silent(&estimator->shape, power)) {
        tt_floor_steps_take_back(&estimator->steps, sample - estimator->shape.window_samples);
        tt_floor_minima_interrupt(estimator->minima);
        estimator->guard = GUARD_FRAMES;
        return true;
    }
    if (estimator->guard > 0) {
        estimator->guard--;
        return true;
    }
    if (is_quiet) tt_floor_steps_add(&estimator->steps, sample, power);
    if (estimator->track.node_count == 0) tt_floor_minima_add(estimator->minima, power);
    return true;
}

/* A take in which nothing was heard at all still has a floor: the least. */
static bool add_silent_node(struct tt_floor_estimator *estimator, struct tt_error *err)
{
    for (int i = 0; i < estimator->shape.bin_count; i++) estimator->row[i] = (float)SILENCE_MEAN_SQUARE;
    return add_node(&estimator->low, &estimator->low_room, 0, estimator->row, err);
}

bool tt_floor_estimator_finish(struct tt_floor_estimator *estimator, struct tt_floor_track *track, struct tt_error *err)
{
    if (!close_step(estimator, err) || !find_jumps(estimator, estimator->steps.open, err)) return false;
    while (estimator->settled_windows * estimator->window_steps < estimator->steps.open)
        if (!settle_window(estimator, estimator->steps.open, err)) return false;
    if (!take_minima(estimator, estimator->steps.open, err)) return false;
    if (estimator->track.node_count == 0 && estimator->low.node_count == 0 && !add_silent_node(estimator, err)) return false;
    struct tt_floor_track *found = estimator->track.node_count > 0 ? &estimator->track : &estimator->low;
    *track = *found;
    memset(found, 0, sizeof *found);
    return true;
}
