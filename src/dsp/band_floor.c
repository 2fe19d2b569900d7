/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/band_floor.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/running_quantile.h"

/* Five blocks (some 105 ms) are averaged before they count; 2 % of them are quieter than what is called the floor
 * before its bias is put back (methods: 1-2 % over +-30 s; higher quantiles sit on the breaths where speech is dense).
 */
enum { AVERAGED = 5, HALF_AVERAGED = 2, ALL = TT_BANDS, KEPT = TT_BANDS + 1, MEASURE_EVERY = 4 };
static const double floor_share = 0.02, steady_share = 0.10;
static const double deviations_at_share = 2.05; /* of the normal distribution, at 2 % */
static const double db_per_relative = 4.343;    /* 10 / ln 10 */
/* A window is the room's when its lowest tenth lies within this much (common practice, no source). */
static const float steady_most_db = 2.5f, restless_db = 4.5f;
static const double enough_s = 8.0; /* a shorter window is not asked when the other one is longer */
static const float speech_span_db = 25.0f, speech_over_room_least_db = 18.0f, speech_fades_db_per_s = 0.1f;
static const double loudest_share = 0.995;
enum { NOT_HEARD = 0xffff };

struct tt_band_floor {
    int band_count, reach, enough;
    float bias_db[KEPT], speech_fade_db;
    uint16_t (*steps)[KEPT]; /* ring of 2 * reach + 2 blocks */
    int ring;
    struct tt_running_quantile before[KEPT], after[KEPT];
    struct tt_band_powers recent[AVERAGED];
    bool recent_heard[AVERAGED], recent_have[AVERAGED];
    int64_t given, averaged, next,
        ready; /* blocks given, averaged, next to be told, known far enough ahead up to here */
    bool ended;
    struct tt_room_level level;
    float power_of_step[TT_LEVEL_STEPS];
};

struct tt_band_floor *tt_band_floor_create(const struct tt_band_plan *plan, double blocks_per_s, double window_s,
                                           struct tt_error *err)
{
    struct tt_band_floor *t = calloc(1, sizeof *t);
    if (t == NULL) {
        tt_fail_memory(err);
        return NULL;
    }
    t->band_count = plan->band_count;
    t->reach = (int)(window_s * blocks_per_s);
    t->enough = (int)(enough_s * blocks_per_s);
    t->ring = 2 * t->reach + 2;
    t->speech_fade_db = (float)(speech_fades_db_per_s * MEASURE_EVERY / blocks_per_s);
    t->steps = calloc((size_t)t->ring, sizeof *t->steps);
    if (t->steps == NULL) {
        tt_fail_memory(err);
        free(t);
        return NULL;
    }
    double averaged_s = AVERAGED / blocks_per_s, all_hz = 0.0;
    for (int b = 0; b < plan->band_count; b++) {
        t->bias_db[b] = (float)(deviations_at_share * db_per_relative / sqrt(plan->width_hz[b] * averaged_s));
        all_hz += plan->width_hz[b];
    }
    t->bias_db[ALL] = (float)(deviations_at_share * db_per_relative / sqrt(all_hz * averaged_s));
    for (int step = 0; step < TT_LEVEL_STEPS; step++)
        t->power_of_step[step] = (float)pow(10.0, tt_level_of_step(step) / 10.0);
    t->level.speech_db = -INFINITY;
    return t;
}

void tt_band_floor_destroy(struct tt_band_floor *tracker)
{
    if (tracker == NULL)
        return;
    free(tracker->steps);
    free(tracker);
}

int tt_band_floor_delay_blocks(const struct tt_band_floor *tracker) { return tracker->reach + HALF_AVERAGED + 1; }

static uint16_t *steps_at(struct tt_band_floor *t, int64_t block) { return t->steps[block % t->ring]; }

static void take_in(struct tt_band_floor *t, struct tt_running_quantile *windows, int64_t block)
{
    const uint16_t *steps = steps_at(t, block);
    if (steps[ALL] == NOT_HEARD)
        return;
    for (int b = 0; b < t->band_count; b++)
        tt_running_quantile_add(&windows[b], steps[b]);
    tt_running_quantile_add(&windows[ALL], steps[ALL]);
}

static void take_out(struct tt_band_floor *t, struct tt_running_quantile *windows, int64_t block)
{
    const uint16_t *steps = steps_at(t, block);
    if (steps[ALL] == NOT_HEARD)
        return;
    for (int b = 0; b < t->band_count; b++)
        tt_running_quantile_remove(&windows[b], steps[b]);
    tt_running_quantile_remove(&windows[ALL], steps[ALL]);
}

/* The middle block of the last five, averaged; not heard when any of them was silent, since their mean would lie below
 * the room. */
static void average(struct tt_band_floor *t)
{
    struct tt_band_powers sum = {0};
    int count = 0;
    bool is_heard = true;
    for (int i = 0; i < AVERAGED; i++) {
        if (!t->recent_have[i])
            continue;
        count++;
        is_heard = is_heard && t->recent_heard[i];
        for (int b = 0; b < t->band_count; b++)
            sum.band[b] += t->recent[i].band[b];
        sum.all += t->recent[i].all;
    }
    uint16_t *steps = steps_at(t, t->averaged);
    for (int b = 0; b < t->band_count; b++)
        steps[b] = (uint16_t)tt_level_step(tt_level_db_of(sum.band[b] / (float)count));
    steps[ALL] = is_heard ? (uint16_t)tt_level_step(tt_level_db_of(sum.all / (float)count)) : NOT_HEARD;
    take_in(t, t->after, t->averaged);
    t->averaged++;
}

static void shift_in(struct tt_band_floor *t, const struct tt_band_powers *powers, bool is_heard)
{
    memmove(t->recent, t->recent + 1, (AVERAGED - 1) * sizeof t->recent[0]);
    memmove(t->recent_heard, t->recent_heard + 1, (AVERAGED - 1) * sizeof t->recent_heard[0]);
    memmove(t->recent_have, t->recent_have + 1, (AVERAGED - 1) * sizeof t->recent_have[0]);
    t->recent_have[AVERAGED - 1] = powers != NULL;
    if (powers != NULL) {
        t->recent[AVERAGED - 1] = *powers;
        t->recent_heard[AVERAGED - 1] = is_heard;
        t->given++;
    }
    if (t->recent_have[AVERAGED - 1 - HALF_AVERAGED])
        average(t);
}

void tt_band_floor_add(struct tt_band_floor *tracker, const struct tt_band_powers *powers, bool is_heard)
{
    shift_in(tracker, powers, is_heard);
    tracker->ready = tracker->averaged - tracker->reach;
}

void tt_band_floor_end(struct tt_band_floor *tracker)
{
    for (int i = 0; i < HALF_AVERAGED; i++)
        shift_in(tracker, NULL, false);
    tracker->ready = tracker->averaged;
    tracker->ended = true;
}

/* How far a window may be believed: 1 where its lowest levels lie close together, as those of a room do, 0 where they
 * are spread. */
static float trust(const struct tt_running_quantile *window, float low_db, float bias_db)
{
    float spread_db = tt_running_quantile_at(window, steady_share) - low_db - 0.4f * bias_db;
    float share = (restless_db - spread_db) / (restless_db - steady_most_db);
    return share < 0.0f ? 0.0f : share > 1.0f ? 1.0f : share;
}

static float floor_of(const struct tt_band_floor *t, int which)
{
    const struct tt_running_quantile *before = &t->before[which], *after = &t->after[which];
    float before_db = tt_running_quantile_at(before, floor_share),
          after_db = tt_running_quantile_at(after, floor_share);
    if (before->total < t->enough && after->total > before->total)
        return after_db + t->bias_db[which];
    if (after->total < t->enough && before->total > after->total)
        return before_db + t->bias_db[which];
    bool before_is_higher = before_db > after_db;
    float low_db = before_is_higher ? after_db : before_db, high_db = before_is_higher ? before_db : after_db;
    if (high_db <= low_db)
        return low_db + t->bias_db[which];
    float share = trust(before_is_higher ? before : after, high_db, t->bias_db[which]);
    return low_db + share * (high_db - low_db) + t->bias_db[which];
}

/* The mean power of what lies within 25 dB of the loudest half per cent, in both windows together. */
static float active_level(const struct tt_band_floor *t)
{
    const uint16_t *before = t->before[ALL].counts, *after = t->after[ALL].counts;
    double left = (1.0 - loudest_share) * (t->before[ALL].total + t->after[ALL].total);
    int top = TT_LEVEL_STEPS - 1;
    for (; top > 0; top--) {
        left -= before[top] + after[top];
        if (left < 0.0)
            break;
    }
    int lowest = tt_level_step(tt_level_of_step(top) - speech_span_db);
    double sum = 0.0, count = 0.0;
    for (int step = lowest; step < TT_LEVEL_STEPS; step++) {
        double here = before[step] + after[step];
        sum += here * t->power_of_step[step];
        count += here;
    }
    return count > 0.0 ? tt_level_db_of((float)(sum / count)) : -INFINITY;
}

static void measure(struct tt_band_floor *t)
{
    if (t->before[ALL].total + t->after[ALL].total == 0) {
        for (int b = 0; b < TT_BANDS; b++)
            t->level.band_db[b] = -140.0f;
        t->level.all_db = -140.0f;
        return;
    }
    for (int b = 0; b < t->band_count; b++)
        t->level.band_db[b] = floor_of(t, b);
    t->level.all_db = floor_of(t, ALL);
    /* Where nobody speaks for a minute, the last level holds on, fading. */
    float now_db = active_level(t), held_db = t->level.speech_db - t->speech_fade_db;
    float least_db = t->level.all_db + speech_over_room_least_db;
    if (now_db < least_db)
        now_db = least_db > held_db ? least_db : held_db;
    t->level.speech_db = now_db;
}

bool tt_band_floor_next(struct tt_band_floor *t, struct tt_room_level *level)
{
    if (t->next >= t->ready)
        return false;
    int64_t block = t->next++;
    if (block > 0)
        take_out(t, t->after, block - 1);
    take_in(t, t->before, block);
    if (block > t->reach)
        take_out(t, t->before, block - t->reach - 1);
    if (block % MEASURE_EVERY == 0)
        measure(t);
    *level = t->level;
    return true;
}
