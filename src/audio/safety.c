/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/safety.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "audio/samples.h"
#include "base/units.h"

/* Around a clipped sample the safety channel is heard alone, then faded: an overdriven input needs a moment to recover.
 * Common practice, no source. */
static const double guard_ms = 2, fade_ms = 5;

struct tt_safety {
    struct tt_safety_plan plan;
    float *main, *low; /* frames that were read ahead */
    int64_t waiting, reach, guard;
    int64_t since_clip; /* frames since the last clipped one before those that wait */
    int64_t given, mended_places, first_mended;
};

struct tt_safety *tt_safety_open(const struct tt_safety_plan *plan, struct tt_error *err)
{
    struct tt_safety *safety = calloc(1, sizeof *safety);
    if (safety == NULL) {
        tt_fail_memory(err);
        return NULL;
    }
    safety->plan = *plan;
    safety->guard = tt_frames_from_ms(guard_ms, plan->rate_hz);
    safety->reach = safety->guard + tt_frames_from_ms(fade_ms, plan->rate_hz);
    safety->since_clip = safety->reach;
    safety->first_mended = -1;
    const size_t room = (size_t)(plan->most_frames + safety->reach);
    safety->main = malloc(sizeof *safety->main * room);
    safety->low = malloc(sizeof *safety->low * room);
    if (safety->main != NULL && safety->low != NULL)
        return safety;
    tt_fail_memory(err);
    tt_safety_close(safety);
    return NULL;
}

void tt_safety_close(struct tt_safety *safety)
{
    if (safety == NULL)
        return;
    free(safety->main);
    free(safety->low);
    free(safety);
}

void tt_safety_skip(struct tt_safety *safety, int64_t frame) { safety->given = frame; }

int64_t tt_safety_wants(const struct tt_safety *safety, int64_t wanted)
{
    const int64_t missing = wanted + safety->reach - safety->waiting;
    if (missing <= 0)
        return 0;
    return missing < safety->plan.most_frames ? missing : safety->plan.most_frames;
}

int64_t tt_safety_add(struct tt_safety *safety, const float *interleaved, int64_t count)
{
    const struct tt_safety_plan *plan = &safety->plan;
    float *main = safety->main + safety->waiting, *low = safety->low + safety->waiting;
    tt_samples_pick(interleaved, plan->channel_count, plan->channel, main, (size_t)count);
    tt_samples_pick(interleaved, plan->channel_count, plan->safety_channel, low, (size_t)count);
    (void)tt_samples_mend(low, (size_t)count);
    safety->waiting += count;
    return tt_samples_mend(main, (size_t)count);
}

static int64_t next_clip(const struct tt_safety *safety, int64_t from)
{
    while (from < safety->waiting && fabsf(safety->main[from]) < TT_CLIP_LEVEL)
        from++;
    return from;
}

static void count_mended(struct tt_safety *safety, int64_t at)
{
    safety->mended_places++;
    if (safety->first_mended < 0)
        safety->first_mended = safety->given + at;
}

/* The same sound at the same level: a straight fade. */
static void mix(struct tt_safety *safety, float *samples, int64_t count)
{
    const double gain = safety->plan.gain, fade = (double)(safety->reach - safety->guard);
    int64_t next = next_clip(safety, 0);
    for (int64_t i = 0; i < count; i++) {
        if (next < i)
            next = next_clip(safety, i);
        if (next == i && safety->since_clip >= safety->reach)
            count_mended(safety, i);
        safety->since_clip = next == i ? 0 : safety->since_clip + 1;
        int64_t ahead = next < safety->waiting ? next - i : safety->reach,
                distance = safety->since_clip < ahead ? safety->since_clip : ahead;
        samples[i] = safety->main[i];
        if (distance >= safety->reach)
            continue;
        double share = distance <= safety->guard ? 1.0 : (double)(safety->reach - distance) / fade;
        samples[i] = (float)(share * gain * (double)safety->low[i] + (1.0 - share) * (double)safety->main[i]);
    }
}

int64_t tt_safety_take(struct tt_safety *safety, float *samples, int64_t wanted)
{
    const int64_t count = safety->waiting < wanted ? safety->waiting : wanted;
    mix(safety, samples, count);
    safety->waiting -= count;
    safety->given += count;
    memmove(safety->main, safety->main + count, sizeof *safety->main * (size_t)safety->waiting);
    memmove(safety->low, safety->low + count, sizeof *safety->low * (size_t)safety->waiting);
    return count;
}

int64_t tt_safety_mended(const struct tt_safety *safety, int64_t *first_frame)
{
    *first_frame = safety->first_mended;
    return safety->mended_places;
}
