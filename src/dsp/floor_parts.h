/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within the floor estimator: its state, and the steps from quiet frames to nodes. */
#ifndef TT_DSP_FLOOR_PARTS_H
#define TT_DSP_FLOOR_PARTS_H

#include "dsp/floor_minima.h"
#include "dsp/floor_steps.h"
#include "dsp/floor_track.h"

/* How far beyond its middle a window may look for quiet time, in windows. */
#define TT_FLOOR_LEAN_WINDOWS 1.5

struct tt_floor_estimator {
    struct tt_stft_shape shape;
    double window_s;
    int64_t window_steps; /* a window, in steps */
    int64_t horizon_steps;
    struct tt_floor_steps steps;
    struct tt_floor_minima *minima;
    int guard;               /* frames still too near a silence that ended */
    int64_t settled_windows; /* windows that have their nodes */
    int64_t searched;        /* steps before this one were searched for jumps */
    int64_t *jumps;          /* positions where the room changed, rising */
    int jump_count;
    size_t jump_capacity;
    struct tt_floor_track track; /* from pauses */
    int node_room;
    struct tt_floor_track low; /* from minima, while there is no pause */
    int low_room;
    float *row, *shifted;
};

/* How long so many frames are. */
static inline double tt_floor_quiet_s(const struct tt_floor_estimator *estimator, int frames)
{
    return (double)frames * estimator->shape.hop_samples / estimator->shape.rate_hz;
}
/* floor_nodes.c */
bool tt_floor_add_node(struct tt_floor_track *track, int *room, int64_t sample, const float *power,
                       struct tt_error *err);
/* Finds where the room changes among the steps up to end_step (floor_jumps.c). */
bool tt_floor_find_jumps(struct tt_floor_estimator *estimator, int64_t end_step, struct tt_error *err);
/* Gives the next window its nodes (floor_nodes.c); steps behind last_step do not exist. */
bool tt_floor_settle_window(struct tt_floor_estimator *estimator, int64_t last_step, struct tt_error *err);

#endif
