/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From steps to the nodes of a window: the colour is that of the whole window, the level that of the time next to a
 * node. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "dsp/floor_parts.h"

/* Quiet time that a node needs. */
static const double LEAST_QUIET_S = 0.5;
/* Within a window the level is followed at this grain, in the bands of the steps, where that makes a difference from
 * this up. */
enum { DRIFT_PARTS = 5 };
static const double DRIFT_REACH_S = 2.0;
static const double DRIFT_QUIET_S = 0.12;
static const double DRIFT_DB = 0.5;
/* Steps this far above the median of their surroundings hold something else than the room. */
static const double STEP_OUTLIER_DB = 4.0;

bool tt_floor_add_node(struct tt_floor_track *track, int *room, int64_t sample, const float *power,
                       struct tt_error *err)
{
    const size_t bins = (size_t)track->shape.bin_count;
    if (track->node_count == *room) {
        const size_t wanted = *room ? 2 * (size_t)*room : 16;
        int64_t *samples = realloc(track->node_sample, wanted * sizeof *samples);
        if (samples)
            track->node_sample = samples;
        float *rows = realloc(track->power, wanted * bins * sizeof *rows);
        if (rows)
            track->power = rows;
        if (!samples || !rows)
            return tt_fail_memory(err);
        *room = (int)wanted;
    }
    const int at = track->node_count;
    if (at > 0 && sample <= track->node_sample[at - 1])
        sample = track->node_sample[at - 1] + 1;
    track->node_sample[at] = sample;
    memcpy(track->power + (size_t)at * bins, power, bins * sizeof *power);
    track->node_count++;
    return true;
}

/* The stretch without a jump around a position. */
static void room_around(const struct tt_floor_estimator *estimator, int64_t position, int64_t *start, int64_t *end)
{
    *start = INT64_MIN;
    *end = INT64_MAX;
    for (int i = 0; i < estimator->jump_count; i++) {
        if (estimator->jumps[i] <= position)
            *start = estimator->jumps[i];
        else if (estimator->jumps[i] < *end)
            *end = estimator->jumps[i];
    }
}

struct span {
    int64_t first, last;
}; /* steps, last included */

static bool has_outlier_bands(const struct tt_floor_step *step, const float *medians)
{
    int count = 0;
    for (int b = 0; b < TT_FLOOR_BANDS; b++)
        count += (double)(step->band_db[b] - medians[b]) > STEP_OUTLIER_DB;
    return count >= 2;
}

static void span_medians(const struct tt_floor_estimator *estimator, struct span span, float *medians)
{
    double values[512];
    int64_t stride = (span.last - span.first) / 512 + 1;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) {
        int count = 0;
        for (int64_t i = span.first; i <= span.last; i += stride) {
            const struct tt_floor_step *step = tt_floor_steps_get(&estimator->steps, i);
            if (step && step->frames > 0)
                values[count++] = (double)step->band_db[b];
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
        if (!step || step->frames == 0 || has_outlier_bands(step, medians))
            continue;
        const float *row = tt_floor_steps_row(&estimator->steps, i);
        for (int k = 0; k < bins; k++)
            estimator->row[k] += (float)step->frames * row[k];
        frames += step->frames;
    }
    for (int k = 0; k < bins && frames > 0; k++)
        estimator->row[k] /= (float)frames;
    return frames;
}

/* The steps of the same room within reach of a position. */
static struct span span_around(const struct tt_floor_estimator *estimator, int64_t position, int64_t reach_steps)
{
    const int64_t step_samples = estimator->steps.step_samples;
    struct span span = {.first = position / step_samples - reach_steps, .last = position / step_samples + reach_steps};
    int64_t start, end;
    room_around(estimator, position, &start, &end);
    if (span.first < 0)
        span.first = 0;
    /* A step that a jump falls into belongs to neither room. */
    while (span.first <= span.last && start != INT64_MIN && span.first * step_samples < start)
        span.first++;
    while (span.last >= span.first && end != INT64_MAX && (span.last + 1) * step_samples > end)
        span.last--;
    return span;
}

/* The mean of the quiet time around a position, of the same room, into estimator->row; false where there is too little.
 */
static bool find_colour(struct tt_floor_estimator *estimator, int64_t position)
{
    for (double reach = 0.5; reach <= TT_FLOOR_LEAN_WINDOWS; reach += 0.5) {
        const int64_t steps = (int64_t)(reach * (double)estimator->window_steps);
        if (tt_floor_quiet_s(estimator, mean_of_span(estimator, span_around(estimator, position, steps))) >=
            LEAST_QUIET_S)
            return true;
    }
    return false;
}

/* How far the bands of the quiet steps next to a position are from estimator->row, in dB; the position moves into the
 * middle of those steps. False where there are too few. */
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
        if (!step || step->frames == 0 || has_outlier_bands(step, medians) || has_outlier_bands(step, whole))
            continue;
        for (int b = 0; b < TT_FLOOR_BANDS; b++)
            power[b] += step->frames * tt_power_from_db((double)step->band_db[b]);
        middle += step->frames * ((double)i + 0.5);
        frames += step->frames;
    }
    if (tt_floor_quiet_s(estimator, frames) < DRIFT_QUIET_S)
        return false;
    for (int b = 0; b < TT_FLOOR_BANDS; b++)
        drift[b] = (float)tt_db_from_power(power[b] / frames) - whole[b];
    *position = (int64_t)(middle / frames * (double)estimator->steps.step_samples);
    return true;
}

/* A node at the edge of a room, with the level of the quiet steps next to it. */
static bool settle_edge(struct tt_floor_estimator *estimator, int64_t position, struct tt_error *err)
{
    float drift[TT_FLOOR_BANDS];
    int64_t middle = position;
    if (!find_colour(estimator, position))
        return true;
    if (!find_drift(estimator, &middle, drift))
        return tt_floor_add_node(&estimator->track, &estimator->node_room, position, estimator->row, err);
    tt_floor_steps_shift(&estimator->steps, estimator->row, drift, estimator->shifted);
    return tt_floor_add_node(&estimator->track, &estimator->node_room, position, estimator->shifted, err);
}

/* The middle of a piece: one node where the level stands still, several that follow it where it moves. */
static bool settle_middle(struct tt_floor_estimator *estimator, int64_t start, int64_t end, struct tt_error *err)
{
    float drift[DRIFT_PARTS][TT_FLOOR_BANDS];
    int64_t positions[DRIFT_PARTS];
    const int64_t middle = start + (end - start) / 2;
    int count = 0;
    double most = 0.0;
    if (!find_colour(estimator, middle))
        return true;
    for (int p = 0; p < DRIFT_PARTS; p++) {
        positions[count] = start + (end - start) * (2 * p + 1) / (2 * DRIFT_PARTS);
        if (!find_drift(estimator, &positions[count], drift[count]))
            continue;
        if (count > 0 && positions[count] - positions[count - 1] < 2 * estimator->steps.step_samples)
            continue;
        double sum = 0.0;
        for (int b = 0; b < TT_FLOOR_BANDS; b++)
            sum += (double)(drift[count][b] * drift[count][b]) / TT_FLOOR_BANDS;
        most = fmax(most, sqrt(sum));
        count++;
    }
    if (most < DRIFT_DB)
        return tt_floor_add_node(&estimator->track, &estimator->node_room, middle, estimator->row, err);
    for (int p = 0; p < count; p++) {
        tt_floor_steps_shift(&estimator->steps, estimator->row, drift[p], estimator->shifted);
        if (!tt_floor_add_node(&estimator->track, &estimator->node_room, positions[p], estimator->shifted, err))
            return false;
    }
    return true;
}

/* One stretch of a window between jumps: nodes in its middle, and one at each end where the room changes. */
static bool settle_piece(struct tt_floor_estimator *estimator, int64_t start, int64_t end, bool jump_before,
                         bool jump_behind, struct tt_error *err)
{
    if (jump_before && !settle_edge(estimator, start, err))
        return false;
    if (!settle_middle(estimator, start, end, err))
        return false;
    return !jump_behind || settle_edge(estimator, end - 1, err);
}

bool tt_floor_settle_window(struct tt_floor_estimator *estimator, int64_t last_step, struct tt_error *err)
{
    const int64_t step_samples = estimator->steps.step_samples;
    const int64_t first = estimator->settled_windows * estimator->window_steps;
    int64_t last = first + estimator->window_steps;
    if (last > last_step)
        last = last_step;
    const int64_t end = last * step_samples;
    int64_t start = first * step_samples;
    bool jump_before = false;
    for (int i = 0; i < estimator->jump_count; i++) {
        const int64_t jump = estimator->jumps[i];
        if (jump == start)
            jump_before = true;
        if (jump <= start || jump > end)
            continue;
        if (!settle_piece(estimator, start, jump, jump_before, true, err))
            return false;
        start = jump;
        jump_before = true;
    }
    if (start < end && !settle_piece(estimator, start, end, jump_before, false, err))
        return false;
    estimator->settled_windows++;
    return true;
}
