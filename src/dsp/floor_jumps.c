/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where the room changes at once: the bands of the quiet time before and behind a step are held against each other. */
#include <math.h>

#include "base/grow.h"
#include "dsp/floor_parts.h"

/* A jump is looked for over this much quiet time to each side, and counts from this step up. */
static const double JUMP_SIDE_S = 5.0;
static const double JUMP_LEAST_S = 0.5;
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

/* Levels of the room on both sides of a step. */
struct sides {
    float before[TT_FLOOR_BANDS], behind[TT_FLOOR_BANDS];
};

/* Whether the room's level differs before and from a step on, over the bands. */
static bool is_other_room(const struct tt_floor_estimator *estimator, int64_t step, struct sides *sides)
{
    if (!side_levels(estimator, step - 1, -1, sides->before) || !side_levels(estimator, step, 1, sides->behind))
        return false;
    double sum = 0.0;
    for (int b = 0; b < TT_FLOOR_BANDS; b++)
        sum += (double)((sides->behind[b] - sides->before[b]) * (sides->behind[b] - sides->before[b]));
    return sqrt(sum / TT_FLOOR_BANDS) >= JUMP_DB;
}

/* By how much a step is more like the room behind than like that before; beyond either it is no more like it. */
static double likeness_to_behind(const struct tt_floor_step *step, const struct sides *sides)
{
    double likeness = 0.0;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) {
        const float before = sides->before[b], behind = sides->behind[b];
        const float low = fminf(before, behind), high = fmaxf(before, behind);
        const float level = fmaxf(low, fminf(high, step->band_db[b]));
        likeness += (double)((behind - before) * (2.0F * level - before - behind));
    }
    return step->frames * likeness;
}

/* Whether no other place near a step parts the quiet steps better into the one room and the other. */
static bool parts_best(const struct tt_floor_estimator *estimator, int64_t from, int direction,
                       const struct sides *sides)
{
    double sum = 0.0;
    int frames = 0;
    for (int64_t i = 0; i < estimator->horizon_steps && tt_floor_quiet_s(estimator, frames) < JUMP_SIDE_S; i++) {
        const struct tt_floor_step *step = tt_floor_steps_get(&estimator->steps, from + direction * i);
        if (!step)
            break;
        if (step->frames > 0)
            sum += direction * likeness_to_behind(step, sides);
        if (sum < 0.0)
            return false;
        frames += step->frames;
    }
    return true;
}

/* The next step with quiet frames; NULL where there is none. */
static const struct tt_floor_step *next_quiet(const struct tt_floor_estimator *estimator, int64_t from, int direction)
{
    const struct tt_floor_step *step;
    while ((step = tt_floor_steps_get(&estimator->steps, from)) && step->frames == 0)
        from += direction;
    return step;
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

/* Between the last that was heard of the one room and the first of the other. What a step's mean leaves out at that end
 * is already, or still, the other room. */
static int64_t place_of_jump(const struct tt_floor_estimator *estimator, int64_t step)
{
    const struct tt_floor_step *before = next_quiet(estimator, step - 1, -1), *behind = next_quiet(estimator, step, 1);
    if (!before || !behind)
        return step * estimator->steps.step_samples;
    const bool changed_before = before->quiet.end > before->counted.end,
               changed_behind = behind->quiet.start < behind->counted.start;
    const int64_t last = changed_behind ? behind->counted.start : before->counted.end;
    const int64_t first = changed_before ? before->counted.end : behind->counted.start;
    return (last + first) / 2;
}

bool tt_floor_find_jumps(struct tt_floor_estimator *estimator, int64_t end_step, struct tt_error *err)
{
    const int64_t apart = (int64_t)(JUMP_APART_S * estimator->shape.rate_hz);
    for (; estimator->searched < end_step; estimator->searched++) {
        const int64_t step = estimator->searched, last = estimator->jump_count - 1;
        struct sides sides;
        if (!is_other_room(estimator, step, &sides) || !parts_best(estimator, step - 1, -1, &sides) ||
            !parts_best(estimator, step, 1, &sides))
            continue;
        const int64_t position = place_of_jump(estimator, step);
        if (last >= 0 && position < estimator->jumps[last] + apart)
            continue;
        if (!add_jump(estimator, position, err))
            return false;
    }
    return true;
}
