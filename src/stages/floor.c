/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The room: its noise power by band, followed over time from frames in which nobody speaks. */
#include <math.h>

#include "base/units.h"
#include "stages/stage.h"

static void *floor_hear_open(const struct tt_hearing *hearing, struct tt_error *err)
{
    return tt_floor_estimator_create(hearing->shape, hearing->settings->floor.window_s, err);
}

static bool floor_hear_settled(void *state, const struct tt_hear_frame *frame, struct tt_error *err)
{
    /* The first frames see the silence in front of the take's first sample. */
    bool is_quiet = frame->state == TT_FRAME_QUIET && frame->index >= 2;
    return tt_floor_estimator_add(state, frame->sample, frame->power, is_quiet, err);
}

/* No microphone is as quiet (a good one hums at some -100 dBFS; common practice, no source): nothing was heard of a
 * room. */
static const double silent_under_dbfs = -130;

static double dbfs_of_room(double mean_square)
{
    double dbfs = tt_db_from_power(mean_square);
    return dbfs < silent_under_dbfs ? -INFINITY : dbfs;
}

/* The floor over the whole take, each node standing for the time around it. */
static void sum_up_floor(struct tt_heard *heard)
{
    const struct tt_floor_track *track = &heard->floor;
    double sum = 0, sum_a = 0, weight_sum = 0;
    for (int i = 0; i < track->node_count; i++) {
        int64_t before = i > 0 ? track->node_sample[i - 1] : 0;
        int64_t after = i + 1 < track->node_count ? track->node_sample[i + 1] : heard->facts.frame_count;
        double weight = (double)(after - before);
        weight = weight > 1 ? weight : 1;
        const float *row = track->power + (size_t)i * (size_t)track->shape.bin_count;
        sum += weight * tt_floor_mean_square(track, row);
        sum_a += weight * tt_floor_mean_square_a(track, row);
        weight_sum += weight;
    }
    heard->facts.floor_dbfs = dbfs_of_room(sum / weight_sum);
    heard->facts.floor_dba = isinf(heard->facts.floor_dbfs) ? -INFINITY : tt_db_from_power(sum_a / weight_sum);
}

static bool floor_hear_close(void *state, struct tt_hearing *hearing, struct tt_error *err)
{
    bool is_known = hearing->heard->floor.node_count > 0; /* heard from a recording of the empty room */
    if (!is_known && !tt_floor_estimator_finish(state, &hearing->heard->floor, err))
        return false;
    sum_up_floor(hearing->heard);
    return true;
}

static void floor_hear_free(void *state) { tt_floor_estimator_destroy(state); }

const struct tt_stage tt_stage_floor = {
    .name = "floor",
    .summary = "measures the room's noise by band and over time",
    .hear_open = floor_hear_open,
    .hear_settled = floor_hear_settled,
    .hear_close = floor_hear_close,
    .hear_free = floor_hear_free,
};
