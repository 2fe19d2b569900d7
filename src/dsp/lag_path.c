/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A path through the places that were found, forward in both sounds. */
#include <math.h>
#include <stdlib.h>

#include "base/median.h"
#include "dsp/lag_parts.h"

enum { LOOK_BACK = 60 };              /* a path may leave out so many blocks */
static const double jump_cost = 0.05; /* of likeness, so that a path does not wander between two equal places */

/* Whether one may follow the other: what was read is never played backwards. */
static bool goes_forward(const struct lag_block *blocks, const struct lag_step *first, const struct lag_step *second)
{
    double apart = ((double)blocks[second->block].frame - (double)blocks[first->block].frame) * LAG_FRAME;
    return apart > 0 && second->lag - first->lag > -apart;
}

/* The best of the steps made so far that this one may come from: adds its score. */
static void come_from(const struct lag_block *blocks, const struct lag_step *steps, size_t made, struct lag_step *step)
{
    for (size_t p = made; p-- > 0 && step->block - steps[p].block <= LOOK_BACK;) {
        double score = steps[p].score - (fabs(steps[p].lag - step->lag) > LAG_DRIFT_SAMPLES ? jump_cost : 0);
        if (score > step->score && goes_forward(blocks, &steps[p], step))
            step->score = score, step->from = (long)p;
    }
}

/* All steps of all blocks into steps; the one that the best path ends with, -1 without any. */
static long make_steps(const struct lag_block *blocks, size_t count, struct lag_step *steps)
{
    size_t made = 0;
    long best = -1;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < (size_t)blocks[i].count; k++) {
            if (blocks[i].candidates[k].likeness <= 0)
                continue;
            struct lag_step step = {i, k, 0, blocks[i].candidates[k].lag, -1};
            come_from(blocks, steps, made, &step);
            step.score += blocks[i].candidates[k].likeness;
            steps[made] = step;
            if (best < 0 || step.score > steps[best].score)
                best = (long)made;
            made++;
        }
    return best;
}

static struct lag_step *find_path(const struct lag_block *blocks, size_t count, size_t *length)
{
    struct lag_step *steps = calloc(count * LAG_CANDIDATES + 1, sizeof *steps),
                    *path = steps ? calloc(count + 1, sizeof *path) : NULL;
    *length = 0;
    for (long at = path ? make_steps(blocks, count, steps) : -1; at >= 0; at = steps[at].from)
        path[(*length)++] = steps[at];
    for (size_t i = 0; i < *length / 2; i++) {
        struct lag_step turned = path[i];
        path[i] = path[*length - 1 - i];
        path[*length - 1 - i] = turned;
    }
    free(steps);
    return path;
}

/* A tone that goes on lets the place of a block waver by parts of a millisecond: the middle one of its neighbours' is
 * the better guess. */
static bool smooth(struct lag_step *path, size_t length)
{
    enum { SIDE = 2 };
    double *raw = calloc(length + 1, sizeof *raw);
    if (!raw)
        return false;
    for (size_t i = 0; i < length; i++)
        raw[i] = path[i].lag;
    for (size_t i = 0; i < length; i++) {
        double near[2 * SIDE + 1];
        size_t count = 0;
        for (size_t k = i < SIDE ? 0 : i - SIDE; k <= i + SIDE && k < length; k++)
            if (fabs(raw[k] - raw[i]) <= LAG_DRIFT_SAMPLES)
                near[count++] = raw[k];
        path[i].lag = tt_median(near, count);
    }
    free(raw);
    return true;
}

struct lag_step *lag_path_find(const struct lag_block *blocks, size_t count, size_t *length)
{
    struct lag_step *path = find_path(blocks, count, length);
    if (path && smooth(path, *length))
        return path;
    free(path);
    return NULL;
}
