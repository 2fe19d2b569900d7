/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From frames to a floor track. Quiet frames are gathered into steps of half a second (outliers left out), steps into
 * windows; where the level of the steps jumps, the window is divided there. Without any quiet frame, minima of smoothed
 * power serve. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/floor_parts.h"

/* Total power under this is digital silence: -140 dBFS is far below the noise of any converter (common practice, no
 * source). */
static const double SILENCE_MEAN_SQUARE = 1e-14;
/* Time kept behind the oldest window without nodes and ahead of it, for leaning and for jumps. */
static const double HORIZON_S = 15.0;
enum { GUARD_FRAMES = 4 }; /* frames whose window may reach into digital silence */

static bool is_silent(const struct tt_stft_shape *shape, const float *power)
{
    float sums[8] = {0};
    const int count = shape->bin_count & ~7;
    for (int i = 0; i < count; i += 8)
        for (int j = 0; j < 8; j++)
            sums[j] += power[i + j];
    double sum = 0.0;
    for (int j = 0; j < 8; j++)
        sum += (double)sums[j];
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
    const double ring_s = (1.0 + 2.0 * TT_FLOOR_LEAN_WINDOWS) * window_s + 4.0 * HORIZON_S;
    if (!estimator->minima || !estimator->row || !estimator->shifted ||
        !tt_floor_steps_init(&estimator->steps, shape, ring_s, err)) {
        tt_fail_memory(err);
        tt_floor_estimator_destroy(estimator);
        return NULL;
    }
    const double step_s = (double)estimator->steps.step_samples / shape.rate_hz;
    estimator->window_steps = (int64_t)ceil(window_s / step_s);
    if (estimator->window_steps < 1)
        estimator->window_steps = 1;
    estimator->horizon_steps = (int64_t)ceil(HORIZON_S / step_s);
    return estimator;
}

void tt_floor_estimator_destroy(struct tt_floor_estimator *estimator)
{
    if (!estimator)
        return;
    tt_floor_minima_destroy(estimator->minima);
    tt_floor_steps_free(&estimator->steps);
    tt_floor_track_free(&estimator->track);
    tt_floor_track_free(&estimator->low);
    free(estimator->jumps);
    free(estimator->row);
    free(estimator->shifted);
    free(estimator);
}

/* While no pause was found, each window leaves a node made from minima. */
static bool take_minima(struct tt_floor_estimator *estimator, int64_t end_step, struct tt_error *err)
{
    const int64_t window_samples = estimator->window_steps * estimator->steps.step_samples;
    const int64_t end = end_step * estimator->steps.step_samples, start = (end - 1) / window_samples * window_samples;
    if (estimator->track.node_count > 0 || !tt_floor_minima_take(estimator->minima, estimator->row))
        return true;
    return tt_floor_add_node(&estimator->low, &estimator->low_room, start + (end - start) / 2, estimator->row, err);
}

/* Closes the step that has ended; a window gets its nodes when enough of what follows it is known. */
static bool close_step(struct tt_floor_estimator *estimator, struct tt_error *err)
{
    tt_floor_steps_close(&estimator->steps);
    if (estimator->steps.open % estimator->window_steps == 0 && !take_minima(estimator, estimator->steps.open, err))
        return false;
    const int64_t lean = (int64_t)(TT_FLOOR_LEAN_WINDOWS * (double)estimator->window_steps) + 1;
    const int64_t ahead = lean > estimator->horizon_steps ? lean : estimator->horizon_steps;
    const int64_t window_end = (estimator->settled_windows + 1) * estimator->window_steps;
    if (estimator->steps.open < window_end + ahead)
        return true;
    return tt_floor_find_jumps(estimator, estimator->steps.open - estimator->horizon_steps, err) &&
           tt_floor_settle_window(estimator, window_end, err);
}

bool tt_floor_estimator_add(struct tt_floor_estimator *estimator, int64_t sample, const float *power, bool is_quiet,
                            struct tt_error *err)
{
    while (sample >= (estimator->steps.open + 1) * estimator->steps.step_samples)
        if (!close_step(estimator, err))
            return false;
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
    if (is_quiet)
        tt_floor_steps_add(&estimator->steps, sample, power);
    if (estimator->track.node_count == 0)
        tt_floor_minima_add(estimator->minima, power);
    return true;
}

/* A take in which nothing was heard at all still has a floor: the least. */
static bool add_silent_node(struct tt_floor_estimator *estimator, struct tt_error *err)
{
    for (int i = 0; i < estimator->shape.bin_count; i++)
        estimator->row[i] = (float)SILENCE_MEAN_SQUARE;
    return tt_floor_add_node(&estimator->low, &estimator->low_room, 0, estimator->row, err);
}

bool tt_floor_estimator_finish(struct tt_floor_estimator *estimator, struct tt_floor_track *track, struct tt_error *err)
{
    if (!close_step(estimator, err) || !tt_floor_find_jumps(estimator, estimator->steps.open, err))
        return false;
    while (estimator->settled_windows * estimator->window_steps < estimator->steps.open)
        if (!tt_floor_settle_window(estimator, estimator->steps.open, err))
            return false;
    if (!take_minima(estimator, estimator->steps.open, err))
        return false;
    if (estimator->track.node_count == 0 && estimator->low.node_count == 0 && !add_silent_node(estimator, err))
        return false;
    struct tt_floor_track *found = estimator->track.node_count > 0 ? &estimator->track : &estimator->low;
    *track = *found;
    memset(found, 0, sizeof *found);
    return true;
}
