/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The room: its noise power by band, followed over time from frames in which nobody speaks. */
#include <stdlib.h>

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

static bool floor_hear_close(void *state, struct tt_hearing *hearing, struct tt_error *err)
{
    if (hearing->heard->floor.node_count > 0) /* heard from a recording of the empty room */
        return true;
    return tt_floor_estimator_finish(state, &hearing->heard->floor, err);
}

static void floor_hear_free(void *state)
{
    tt_floor_estimator_destroy(state);
}

const struct tt_stage tt_stage_floor = {
    .name = "floor",
    .summary = "measures the room's noise by band and over time",
    .hear_open = floor_hear_open,
    .hear_settled = floor_hear_settled,
    .hear_close = floor_hear_close,
    .hear_free = floor_hear_free,
};
