/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where a run is heard to begin and end, against what its room does between the words. */
#include <math.h>

#include "dsp/listener_parts.h"
#include "dsp/running_quantile.h"

/* A run's faint edges reach into what the room and the ear cover: what a pause is heard to be is measured from louder
 * ones. The recordings' own edges were set at 38 dB under a phrase's loudest 10 ms (common practice, no source). */
static const float loud_below_db = 38.0f;
static const double loud_near_ms = 600.0;
/* Two thirds of so long must be loud; where a room's rustle may be as loud as an edge, so much longer for each decibel
 * that it stands over the room: its strokes are short. */
static const double loud_solid_ms = 45.0, solid_per_rest_ms = 8.0;
static const float rustle_none_db = -7.0f, rustle_full_db = -3.0f; /* the room against the least that is loud */
/* What counts as loud must stand out of what the room does between the words: over what all but a fifth of that reaches
 * (breaths hardly get there; steady noise stays under 1 dB, a room full of rustle comes to 12) by so much, and 1.4
 * times that. Set on the pauses of made sessions, in steady rooms and in a recorded restless one. Before a second of
 * the room was heard, a middling one is taken for granted. */
static const float loud_over_db = 2.5f, loud_per_rest = 1.4f, rest_unknown_db = 3.0f;
static const double rest_share = 0.8, rest_least_ms = 1000.0;

void tt_listener_note_rest(struct tt_rest *rest, float over_db)
{
    int16_t *place = &rest->steps[rest->count % TT_REST_FRAMES];
    if (rest->count++ >= TT_REST_FRAMES)
        tt_running_quantile_remove(&rest->over, *place);
    *place = (int16_t)tt_level_step(over_db);
    tt_running_quantile_add(&rest->over, *place);
}

float tt_listener_rest_db(const struct tt_listener *l, float unknown_db)
{
    bool is_known = l->rest.count >= tt_listener_frames(l, rest_least_ms);
    return is_known ? fmaxf(0.0f, tt_running_quantile_at(&l->rest.over, rest_share)) : unknown_db;
}

static float least_over_db(const struct tt_listener *l)
{
    return loud_over_db + loud_per_rest * tt_listener_rest_db(l, rest_unknown_db);
}

/* What a frame must reach in power, and over the room. */
struct loudness_least {
    float power, over_db;
};

static bool is_loud(const struct tt_listener *l, int64_t frame, struct loudness_least least)
{
    const struct tt_heard_frame *heard = tt_heard_at(l, frame);
    return heard->whole >= least.power && heard->over_db >= least.over_db;
}

static double solid_ms(const struct tt_listener *l, int64_t frame, float least_db)
{
    float room_db = tt_room_at(l, frame)->all_db - least_db;
    float share = fminf(fmaxf((room_db - rustle_none_db) / (rustle_full_db - rustle_none_db), 0.0f), 1.0f);
    return loud_solid_ms + solid_per_rest_ms * (double)(share * tt_listener_rest_db(l, 0.0f));
}

int64_t tt_listener_loud_edge(const struct tt_listener *l, int64_t from, int64_t to, int step)
{
    int64_t near = tt_listener_frames(l, loud_near_ms), length = (to - from) * step;
    near = near < length ? near : length;
    float most = 0.0f, most_db = -200.0f;
    for (int64_t i = 0; i < near; i++) {
        most = fmaxf(most, tt_heard_at(l, from + i * step)->whole);
        most_db = fmaxf(most_db, tt_heard_at(l, from + i * step)->all_db);
    }
    struct loudness_least least = {most * tt_power_of_level(-loud_below_db), least_over_db(l)};
    int64_t solid = tt_listener_frames(l, solid_ms(l, from, most_db - loud_below_db));
    for (int64_t i = 0; i + solid <= near; i++) {
        int64_t loud = 0;
        if (!is_loud(l, from + i * step, least))
            continue;
        for (int64_t k = i; k < i + solid; k++)
            loud += is_loud(l, from + k * step, least);
        if (3 * loud >= 2 * solid)
            return from + i * step;
    }
    return from;
}
