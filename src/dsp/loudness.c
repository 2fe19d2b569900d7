/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/loudness.h"

#include <math.h>
#include <stdlib.h>

#include "base/units.h"

enum {
    BLOCK_STEPS = 4,       /* BS.1770-5 Annex 1: 400 ms, overlapping by 75 % */
    SHORT_TERM_STEPS = 30, /* Tech 3341 2.2: 3 s */
    SILENCE_STEPS =
        15 /* Tech 3342 3: at least 1.5 s of silence behind a file, so that its end counts as its start does */
};

static const double lufs_offset = -0.691;                    /* BS.1770-5 Annex 1 eq. 2 */
static const double absolute_gate_lufs = -70.0;              /* BS.1770-5 Annex 1 eq. 4, Tech 3342 */
static const double relative_gate_lu = -10.0;                /* BS.1770-5 Annex 1 eq. 6 */
static const double range_relative_gate_lu = -20.0;          /* Tech 3342 4 */
static const double low_percent = 10.0, high_percent = 95.0; /* Tech 3342 4 */

double tt_lufs_from_power(double power) { return lufs_offset + tt_db_from_power(power); }

double tt_power_from_lufs(double lufs) { return tt_power_from_db(lufs - lufs_offset); }

static double block_power(const float *steps, double channel_weight)
{
    double sum = 0.0;
    for (int i = 0; i < BLOCK_STEPS; i++)
        sum += steps[i];
    return sum / BLOCK_STEPS * channel_weight;
}

/* Mean of the blocks above the gate (strictly, as eq. 5 and 7 say); 0 for none. */
static double gated_power(const float *steps, size_t count, double channel_weight, double gate)
{
    double sum = 0.0;
    size_t passed = 0;
    for (size_t i = 0; i + BLOCK_STEPS <= count; i++) {
        const double power = block_power(steps + i, channel_weight);
        if (power > gate) {
            sum += power;
            passed++;
        }
    }
    return passed == 0 ? 0.0 : sum / (double)passed;
}

double tt_loudness_of_steps(const float *steps, size_t count, double channel_weight)
{
    const double absolute_gate = tt_power_from_lufs(absolute_gate_lufs);
    const double above_absolute = gated_power(steps, count, channel_weight, absolute_gate);
    const double relative_gate = above_absolute * tt_power_from_db(relative_gate_lu);
    return tt_lufs_from_power(gated_power(steps, count, channel_weight, fmax(absolute_gate, relative_gate)));
}

static int compare_floats(const void *left, const void *right)
{
    const float a = *(const float *)left, b = *(const float *)right;
    return (a > b) - (a < b);
}

/* Short-term powers at 10 Hz that pass the absolute gate; their number. */
static size_t short_term_powers(const float *steps, size_t count, double channel_weight, float *powers)
{
    const double gate = tt_power_from_lufs(absolute_gate_lufs);
    size_t passed = 0;
    for (size_t end = SHORT_TERM_STEPS; end <= count + SILENCE_STEPS; end++) {
        double sum = 0.0;
        for (size_t i = end - SHORT_TERM_STEPS; i < end && i < count; i++)
            sum += steps[i];
        const double power = sum / SHORT_TERM_STEPS * channel_weight;
        if (power >= gate)
            powers[passed++] = (float)power;
    }
    return passed;
}

/* Nearest rank, Tech 3342 5: round((n - 1) p / 100 + 1), counted from 1. */
static double rank_lufs(const float *sorted, size_t count, double percent)
{
    return tt_lufs_from_power(sorted[(size_t)lround((double)(count - 1) * percent / 100.0)]);
}

size_t tt_loudness_room(size_t count) { return count + SILENCE_STEPS; }

double tt_loudness_range_in(const float *steps, size_t count, double channel_weight, float *room)
{
    if (count < SHORT_TERM_STEPS)
        return (double)NAN;
    const size_t passed = short_term_powers(steps, count, channel_weight, room);
    double sum = 0.0;
    for (size_t i = 0; i < passed; i++)
        sum += room[i];
    if (passed == 0)
        return (double)NAN;
    const double gate = sum / (double)passed * tt_power_from_db(range_relative_gate_lu);
    qsort(room, passed, sizeof *room, compare_floats);
    size_t below = 0;
    while (below < passed && room[below] < gate)
        below++;
    const float *kept = room + below;
    return rank_lufs(kept, passed - below, high_percent) - rank_lufs(kept, passed - below, low_percent);
}
