/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/other_voice.h"

#include <math.h>
#include <stdlib.h>

#include "base/grow.h"
#include "base/median.h"
#include "base/units.h"

/* Common practice and made sessions, no source: all of these. */
static const double active_db = 12.0; /* over its floor a channel carries something */
/* Two microphones at a table tell two speakers apart by twice this, one who turns the head by half of it. */
static const double turned_db = 12.0;
static const double floor_share = 0.1, loud_share = 0.75;
enum {
    REACH_STEPS = 1,         /* levels are means of three steps: echoes of a word reach the far microphone later */
    JOIN_STEPS = 5,          /* between words of a sentence */
    LEAST_STEPS = 4,         /* the shortest answer */
    LEAST_ACTIVE_STEPS = 20, /* two seconds of voice: below that there is no difference to speak of */
};
static const double silent_db = -150.0; /* far under 24 bits */

static bool end_step(struct tt_step_levels *levels, struct tt_error *err)
{
    float *powers = tt_grow(levels->powers, levels->count, &levels->room, sizeof *powers, err);
    if (!powers)
        return false;
    levels->powers = powers;
    const double n = (double)levels->in_step, power = (levels->square_sum - levels->sum * levels->sum / n) / n;
    levels->powers[levels->count++] = (float)fmax(power, 0.0);
    levels->sum = levels->square_sum = 0;
    levels->in_step = 0;
    return true;
}

bool tt_step_levels_add_sums(struct tt_step_levels *levels, int64_t step_frames, double sum, double square_sum,
                             size_t count, struct tt_error *err)
{
    levels->step_frames = step_frames;
    levels->sum += sum;
    levels->square_sum += square_sum;
    levels->in_step += (int64_t)count;
    return levels->in_step < levels->step_frames || end_step(levels, err);
}

bool tt_step_levels_add(struct tt_step_levels *levels, int64_t step_frames, const float *samples, size_t count,
                        struct tt_error *err)
{
    levels->step_frames = step_frames;
    while (count > 0) {
        const int64_t left = levels->step_frames - levels->in_step;
        const size_t n = (size_t)left < count ? (size_t)left : count;
        double sum = 0, square_sum = 0;
        for (size_t i = 0; i < n; i++) {
            sum += (double)samples[i];
            square_sum += (double)samples[i] * (double)samples[i];
        }
        samples += n;
        count -= n;
        if (!tt_step_levels_add_sums(levels, step_frames, sum, square_sum, n, err))
            return false;
    }
    return true;
}

void tt_step_levels_free(struct tt_step_levels *levels)
{
    free(levels->powers);
    *levels = (struct tt_step_levels){0};
}

/* ---- two channels against each other ---- */

struct track {
    double *db, floor_db;
};
struct duel {
    struct track own, other;
    double *sorted;
    size_t count;
};

/* The values change places. */
static double quantile(double *values, size_t count, double share)
{
    return tt_nth_smallest(values, count, (size_t)(share * (double)(count - 1)));
}

static void smooth(const struct tt_step_levels *levels, struct track *track, double *sorted, size_t count)
{
    size_t heard = 0;
    for (size_t i = 0; i < count; i++) {
        const size_t from = i > REACH_STEPS ? i - REACH_STEPS : 0,
                     to = i + REACH_STEPS < count ? i + REACH_STEPS + 1 : count;
        double sum = 0;
        for (size_t k = from; k < to; k++)
            sum += (double)levels->powers[k];
        track->db[i] = sum > 0 ? fmax(tt_db_from_power(sum / (double)(to - from)), silent_db) : silent_db;
        if (track->db[i] > silent_db) /* a muted stretch is no floor */
            sorted[heard++] = track->db[i];
    }
    track->floor_db = heard ? quantile(sorted, heard, floor_share) : 0;
}

/* The usual difference while the own channel carries a voice, and how loud the other one is then. */
static bool find_usual(const struct duel *duel, double *difference_db, double *bleed_db)
{
    size_t active = 0;
    for (size_t i = 0; i < duel->count; i++)
        if (duel->own.db[i] >= duel->own.floor_db + active_db)
            duel->sorted[active++] = duel->own.db[i] - duel->other.db[i];
    if (active < LEAST_ACTIVE_STEPS)
        return false;
    *difference_db = quantile(duel->sorted, active, 0.5);
    active = 0;
    for (size_t i = 0; i < duel->count; i++)
        if (duel->own.db[i] >= duel->own.floor_db + active_db)
            duel->sorted[active++] = duel->other.db[i];
    *bleed_db = quantile(duel->sorted, active, loud_share);
    return true;
}

static size_t collect(const struct duel *duel, double difference_db, double bleed_db, int64_t step_frames,
                      struct tt_span_frames *spans)
{
    size_t found = 0, start = 0, end = 0; /* of the span at hand; end 0: none */
    for (size_t i = 0; i <= duel->count; i++) {
        bool is_other = i < duel->count && duel->other.db[i] >= fmax(duel->other.floor_db + active_db, bleed_db) &&
                        duel->own.db[i] - duel->other.db[i] <= difference_db - turned_db;
        if (is_other) {
            start = end ? start : i;
            end = i + 1;
        } else if (end && (i == duel->count || i - end >= JOIN_STEPS)) {
            if (end - start >= LEAST_STEPS)
                spans[found++] = (struct tt_span_frames){(int64_t)start * step_frames, (int64_t)end * step_frames};
            end = 0;
        }
    }
    return found;
}

struct tt_span_frames *tt_other_voice_find(const struct tt_step_levels *own, const struct tt_step_levels *other,
                                           size_t *count, struct tt_error *err)
{
    struct duel duel = {.count = own->count < other->count ? own->count : other->count};
    struct tt_span_frames *spans = malloc((duel.count + 1) * sizeof *spans);
    double *room = malloc((duel.count + 1) * 3 * sizeof *room), difference_db, bleed_db;
    *count = 0;
    if (!spans || !room) {
        free(spans);
        free(room);
        tt_fail_memory(err);
        return NULL;
    }
    duel.own.db = room;
    duel.other.db = room + duel.count;
    duel.sorted = room + 2 * duel.count;
    smooth(own, &duel.own, duel.sorted, duel.count);
    smooth(other, &duel.other, duel.sorted, duel.count);
    if (find_usual(&duel, &difference_db, &bleed_db))
        *count = collect(&duel, difference_db, bleed_db, own->step_frames, spans);
    free(room);
    return spans;
}
