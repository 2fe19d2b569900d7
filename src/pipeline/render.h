/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rendering: take + cut sheet + gain -> voice. A pure function: same take, sheet and settings, same bits. */
#ifndef TT_PIPELINE_RENDER_H
#define TT_PIPELINE_RENDER_H

#include <stdbool.h>

#include "base/settings.h"
#include "dsp/meter.h"
#include "pipeline/hear.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"
#include "sheet/time_map.h"

struct tt_render_request {
    const char *path;              /* the take */
    const char *const *more_paths; /* files that go on where it ends */
    size_t more_count;
    const struct tt_heard *heard;
    const struct tt_sheet *sheet;  /* sealed */
    const struct tt_time_map *map; /* of that sheet; has one stretch at least */
    const struct tt_settings *settings;
    double gain_db; /* NAN: exact to the target */
    int out_rate_hz;
    const char *voice_path;
    const char
        *limit_path; /* what the voice's limiter did (pipeline/limit_record.h), for the narration; NULL: not wanted */
    const char *whole_path;       /* NULL: not wanted */
    const char *voice_heard_path; /* OUT/heard/TAKE.out, for the page; NULL: not wanted */
    const char *picture_prefix;   /* of the voice (pipeline/picture.h); NULL: not wanted */
    const char *scratch_folder;   /* where unlinked temporary files may lie */
    int threads;                  /* over which the work may be spread: the same bits; under 2: the caller's alone */
    tt_tick tick;
    void *tick_context;
};

struct tt_rendered {
    struct tt_levels levels;      /* of the voice as delivered */
    double floor_dbfs, floor_dba; /* of what is left between the lines */
    double speech_dbfs;
    double gain_db, limited_db;
    bool is_held_back; /* the target is missed, limit_most_db was reached */
    int64_t out_frames;
};

bool tt_render(const struct tt_render_request *request, struct tt_rendered *rendered, struct tt_error *err);

/* The rate of a take's voice by `rate_hz`. */
int tt_delivery_rate_hz(const struct tt_settings *settings, int take_rate_hz);

/* Linear gain of made room tone: what the gate leaves of the room. */
double tt_room_tone_gain(const struct tt_settings *settings);

#endif
