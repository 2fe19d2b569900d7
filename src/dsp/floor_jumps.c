/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where the room changes at once: the bands of the quiet time before and behind a step are held against each other. */
#include <math.h>

#include "base/grow.h"
#include "dsp/floor_parts.h"

/* A jump is looked for over this much quiet time to each side, and counts from this step up. */
static const double JUMP_SIDE_S = 5.0;
static const double JUMP_LEAST_S = 0.75;
static const double JUMP_DB = 3.0;
/* Two jumps are at least this far apart. */
static const double JUMP_APART_S = 3.0;

/* Band levels of the quiet time next to a step, going back (direction -1) or on (1), as medians over steps. */
static bool side_levels(const struct tt_floor_estimator *estimator, int64_t from, int direction, float *levels)
{
    double values[TT_FLOOR_BANDS][32];
    int count = 0, frames = 0;
    for (int64_t i = 0; i < estimator->horizon_steps && count < 32; i++) {
        const struct tt_floor_step *step = tt_floor_steps_get(&estimator->steps, from + direction * i);
        if (!step || tt_floor_quiet_s(estimator, frames) >= JUMP_SIDE_S)
            break;
        if (step->frames == 0)
            continue;
        for (int b = 0; b < TT_FLOOR_BANDS; b++)
            values[b][count] = (double)step->band_db[b];
        frames += step->frames;
        count++;
    }
    if (tt_floor_quiet_s(estimator, frames) < JUMP_LEAST_S)
        return false;
    for (int b = 0; b < TT_FLOOR_BANDS; b++)
        levels[b] = tt_floor_median(values[b], count);
    return true;
}

/* How far the room's level differs before and from a step on, in dB over the bands; 0 where it cannot be told. */
static double jump_size(const struct tt_floor_estimator *estimator, int64_t step)
{
    float before[TT_FLOOR_BANDS], after[TT_FLOOR_BANDS];
    if (!side_levels(estimator, step - 1, -1, before) || !side_levels(estimator, step, 1, after))
        return 0.0;
    double sum = 0.0;
    for (int b = 0; b < TT_FLOOR_BANDS; b++)
        sum += (double)((after[b] - before[b]) * (after[b] - before[b]));
    return sqrt(sum / TT_FLOOR_BANDS);
}

static bool add_jump(struct tt_floor_estimator *estimator, int64_t position, struct tt_error *err)
{
    int64_t *jumps =
        tt_grow(estimator->jumps, (size_t)estimator->jump_count, &estimator->jump_capacity, sizeof *jumps, err);
    if (!jumps)
        return false;
    estimator->jumps = jumps;
    estimator->jumps[estimator->jump_count++] = position;
    return true;
}

/* Whether the jump at a step is the largest around it; of equal ones (steps without quiet frames between) the first. */
static bool is_largest_jump(const struct tt_floor_estimator *estimator, int64_t step, double size)
{
    const int64_t apart = (int64_t)(JUMP_APART_S * estimator->shape.rate_hz) / estimator->steps.step_samples;
    for (int64_t other = step - apart; other <= step + apart; other++) {
        const double other_size = other == step ? 0.0 : jump_size(estimator, other);
        if (other_size > size || (other < step && other_size == size && size > 0.0))
            return false;
    }
    return true;
}

/* Behind the first of the steps that show a jump alike lies a stretch without quiet frames; the jump is put into its
 * middle. */
static int64_t middle_of_jump(const struct tt_floor_estimator *estimator, int64_t step)
{
    int64_t end = step;
    for (const struct tt_floor_step *next; (next = tt_floor_steps_get(&estimator->steps, end)) && next->frames == 0;)
        end++;
    return (step + end) * estimator->steps.step_samples / 2;
}

bool tt_floor_find_jumps(struct tt_floor_estimator *estimator, int64_t end_step, struct tt_error *err)
{
    for (; estimator->searched < end_step; estimator->searched++) {
        const double size = jump_size(estimator, estimator->searched);
        if (size < JUMP_DB || !is_largest_jump(estimator, estimator->searched, size))
            continue;
        if (!add_jump(estimator, middle_of_jump(estimator, estimator->searched), err))
            return false;
    }
    return true;
}
