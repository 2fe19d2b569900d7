/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/spoken.h"

#include <math.h>

/* A step of 100 ms is a pause when it lies so far under its run; stops, and the ends of words, lie higher (measured on
 * read speech in real rooms). */
static const float quiet_under_db = 25.0f;
/* Or hardly over the room, where that is loud, but never so near to the run. */
static const float over_room_db = 4.0f, nearest_db = 15.0f;
/* Or as far under it, and steady for so long, as a swell of traffic in a pause is and no word. */
static const float steady_within_db = 3.0f;
enum { STEADY_STEPS = 3 };
/* Between two pauses, what is shorter than this and so much fainter than its run is a scrap of room. */
static const double scrap_s = 0.15;
static const float scrap_under_db = 15.0f;
/* A stretch is as loud as its steps that are so near to the loudest. */
static const float loud_within_db = 10.0f;
/* Levels of the room are counted in dB; at least so many steps must be known. */
enum { LEAST_DB = -120, LEVELS = 121, LEAST_STEPS = 5 };

static double step_samples(const struct tt_heard *heard)
{
    return (double)heard->facts.rate_hz * TT_HEARD_STEP_MS / 1000.0;
}

static float db_of(float power) { return 10.0f * log10f(power + 1e-12f); }

/* The median of the steps that touch no run. */
struct tt_spoken tt_spoken_begin(const struct tt_heard *heard)
{
    size_t counts[LEVELS] = {0}, total = 0, r = 0;
    const double per_step = step_samples(heard);
    for (size_t k = 0; k < heard->step_count; k++) {
        double start = (double)k * per_step, end = start + per_step;
        while (r < heard->run_count && (double)heard->runs[r].end_sample <= start)
            r++;
        if (r < heard->run_count && (double)heard->runs[r].start_sample < end)
            continue;
        float db = db_of(heard->steps[k]);
        if (db <= (float)LEAST_DB || db >= 0.0f)
            continue;
        counts[(int)(db - (float)LEAST_DB)]++;
        total++;
    }
    struct tt_spoken spoken = {heard, (float)LEAST_DB};
    size_t so_far = 0;
    for (int level = 0; total >= LEAST_STEPS && level < LEVELS; level++) {
        so_far += counts[level];
        if (2 * so_far >= total) {
            spoken.room_db = (float)(LEAST_DB + level) + 0.5f;
            break;
        }
    }
    return spoken;
}

/* Of steps first .. end - 1. */
static float level_of_steps(const struct tt_heard *heard, size_t first, size_t end)
{
    float most = 0.0f, sum = 0.0f;
    int count = 0;
    for (size_t k = first; k < end; k++)
        most = heard->steps[k] > most ? heard->steps[k] : most;
    float least = most * powf(10.0f, -loud_within_db / 10.0f);
    for (size_t k = first; k < end; k++)
        if (heard->steps[k] >= least) {
            sum += heard->steps[k];
            count++;
        }
    return db_of(count ? sum / (float)count : 0.0f);
}

static float quiet_db(const struct tt_spoken *spoken, float level_db)
{
    float by_room = spoken->room_db + over_room_db, nearest = level_db - nearest_db, least = level_db - quiet_under_db;
    if (by_room > nearest)
        by_room = nearest;
    return by_room > least ? by_room : least;
}

/* The steps of a run, and the levels under which they are a pause: by themselves, or in a steady row. */
struct steps_of_run {
    const float *power;
    size_t first, end;
    float quiet_db, steady_db;
};

static bool is_steady_from(const struct steps_of_run *steps, size_t k)
{
    float least = steps->power[k], most = least;
    for (size_t i = k + 1; i < k + STEADY_STEPS; i++) {
        least = fminf(least, steps->power[i]);
        most = fmaxf(most, steps->power[i]);
    }
    return db_of(most) < steps->steady_db && db_of(most) - db_of(least) <= steady_within_db;
}

static bool is_steady(const struct steps_of_run *steps, size_t k)
{
    size_t from = k + 1 >= steps->first + STEADY_STEPS ? k + 1 - STEADY_STEPS : steps->first;
    for (; from <= k && from + STEADY_STEPS <= steps->end; from++)
        if (is_steady_from(steps, from))
            return true;
    return false;
}

/* The end of the row of quiet (or loud) steps that begins at k. */
static size_t row_of_steps(const struct steps_of_run *steps, size_t k, bool is_quiet)
{
    while (k < steps->end && (db_of(steps->power[k]) < steps->quiet_db || is_steady(steps, k)) == is_quiet)
        k++;
    return k;
}

/* The pause steps first .. end - 1 belong half to what is before, half to what is behind: words fade in and out of
 * them; a step of each is enough. */
static int64_t edge_in_pause(size_t first, size_t end, bool is_before, double per_step)
{
    double half = 0.5 * (double)(end - first), share = half < 1.0 ? half : 1.0;
    return (int64_t)(per_step * (is_before ? (double)first + share : (double)end - share));
}

bool tt_spoken_next(const struct tt_spoken *spoken, const struct tt_run *run, int64_t *from, struct tt_run *stretch)
{
    const struct tt_heard *heard = spoken->heard;
    const double per_step = step_samples(heard);
    const size_t first = (size_t)((double)run->start_sample / per_step);
    size_t end = (size_t)ceil((double)run->end_sample / per_step);
    if (end > heard->step_count)
        end = heard->step_count;
    *stretch = *run;
    if (*from == run->start_sample && end <= first) {
        *from = run->end_sample;
        return run->end_sample > run->start_sample;
    }
    const float run_db = level_of_steps(heard, first, end);
    const struct steps_of_run steps = {heard->steps, first, end, quiet_db(spoken, run_db), run_db - nearest_db};
    while (*from < run->end_sample) {
        size_t pause = *from == run->start_sample ? first : (size_t)llround((double)*from / per_step);
        size_t k = row_of_steps(&steps, pause, true), until = row_of_steps(&steps, k, false);
        size_t next = row_of_steps(&steps, until, true);
        *from = next >= end ? run->end_sample : (int64_t)llround((double)until * per_step);
        if (until == k)
            return false;
        float level_db = level_of_steps(heard, k, until);
        bool is_scrap = (double)(until - k) * TT_HEARD_STEP_MS / 1000.0 < scrap_s && level_db < run_db - scrap_under_db;
        if (is_scrap && !(pause == first && next >= end))
            continue;
        if (pause > first)
            stretch->start_sample = edge_in_pause(pause, k, false, per_step);
        if (next < end)
            stretch->end_sample = edge_in_pause(until, next, true, per_step);
        int64_t loud_start = (int64_t)((double)k * per_step), loud_end = (int64_t)((double)until * per_step);
        if (k > first && stretch->loud_start_sample < loud_start)
            stretch->loud_start_sample = loud_start;
        if (until < end && stretch->loud_end_sample > loud_end)
            stretch->loud_end_sample = loud_end;
        stretch->level_db = run->level_db + level_db - run_db;
        stretch->over_floor_db = run->over_floor_db + level_db - run_db;
        return true;
    }
    return false;
}
