/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/gap_tone.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Two seconds of pauses lie within so much of a narration as a rule. */
static const int64_t reach_s = 10;
/* The colour moves on this often: a hundredth of a second or less. */
enum { STEP_SAMPLES = 256 };

struct tt_gap_tone {
    struct tt_room_tone *tone;
    struct tt_room_match *match;     /* NULL: nothing is tuned, and there is no colour */
    float *before, *behind, *colour; /* by bin; parts of one block */
    int64_t from, to;                /* places of the take that the tone's floor is of */
    int64_t length, done;
};

struct tt_gap_tone *tt_gap_tone_create(struct tt_room_tone *tone, struct tt_room_match *match, struct tt_error *err)
{
    struct tt_gap_tone *gap = calloc(1, sizeof *gap);
    const size_t bins = match ? tt_room_match_bins(match) : 0;
    if (gap && match)
        gap->before = malloc(3 * bins * sizeof *gap->before);
    if (!gap || (match && !gap->before)) {
        tt_gap_tone_destroy(gap);
        tt_fail_memory(err);
        return NULL;
    }
    gap->tone = tone;
    gap->match = match;
    if (match) {
        gap->behind = gap->before + bins;
        gap->colour = gap->behind + bins;
    }
    return gap;
}

void tt_gap_tone_destroy(struct tt_gap_tone *gap)
{
    if (!gap)
        return;
    free(gap->before);
    free(gap);
}

int64_t tt_gap_tone_reach(const struct tt_gap_tone *gap)
{
    return gap->match ? reach_s * tt_room_match_rate_hz(gap->match) : 0;
}

/* A side of which too little is known sounds like the other one. */
static void find_colours(struct tt_gap_tone *gap, int64_t before, int64_t behind)
{
    const size_t size = tt_room_match_bins(gap->match) * sizeof *gap->before;
    const bool is_before = tt_room_match_before(gap->match, before, gap->before),
               is_behind = behind >= 0 &&
                           tt_room_match_behind(gap->match, behind, behind + tt_gap_tone_reach(gap), gap->behind);
    if (!is_behind)
        memcpy(gap->behind, gap->before, size);
    else if (!is_before)
        memcpy(gap->before, gap->behind, size);
}

void tt_gap_tone_open(struct tt_gap_tone *gap, int64_t before, int64_t behind, int64_t length)
{
    gap->from = before >= 0 ? before : behind;
    gap->to = behind >= 0 ? behind : before;
    gap->length = length;
    gap->done = 0;
    if (gap->match)
        find_colours(gap, before, behind);
}

/* Powers pass in a straight line, as those of two sounds that have nothing in common. */
static void pass_on(struct tt_gap_tone *gap, float share)
{
    for (size_t bin = 0; bin < tt_room_match_bins(gap->match); bin++)
        gap->colour[bin] =
            sqrtf((1.0f - share) * gap->before[bin] * gap->before[bin] + share * gap->behind[bin] * gap->behind[bin]);
    tt_room_tone_set_colour(gap->tone, gap->colour);
}

void tt_gap_tone_make(struct tt_gap_tone *gap, float *samples, size_t count)
{
    while (count > 0) {
        const size_t part = count < STEP_SAMPLES ? count : STEP_SAMPLES;
        const double share = gap->done < gap->length ? (double)gap->done / (double)gap->length : 1.0;
        if (gap->match)
            pass_on(gap, (float)share);
        tt_room_tone_make(gap->tone, gap->from + llround(share * (double)(gap->to - gap->from)), samples, part);
        gap->done += (int64_t)part;
        samples += part;
        count -= part;
    }
}
