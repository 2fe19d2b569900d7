/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where rendered sound leaves for its file: by way of the resampler where rates differ, measured as it passes. With the
 * gain known beforehand it goes straight into the file; else into a scratch file, until it is. */
#ifndef TT_PIPELINE_OUTLET_H
#define TT_PIPELINE_OUTLET_H

#include <stdbool.h>
#include <stddef.h>

#include "audio/reader.h"
#include "audio/resample.h"
#include "pipeline/delivery.h"
#include "pipeline/quiet_spans.h"
#include "pipeline/render.h"

/* Start from {0}; close in any case. */
struct tt_outlet {
    const struct tt_render_request *request;
    struct tt_resampler *resampler; /* NULL where rates are the same */
    float *resampled;
    struct tt_gain_finder *finder; /* of the voice, where no gain was given */
    struct tt_true_peak *peak;     /* of the voice, where one was and it may be too much */
    struct tt_scratch *scratch;    /* one of the two */
    struct tt_delivering *straight;
    struct tt_delivered delivered; /* straight: known behind finish */
    int64_t out_frames;            /* added so far */
    struct tt_delivery delivery;   /* points at what follows */
    struct tt_bext bext;
    char *history;
    struct tt_label *labels;
    struct tt_quiet_spans quiet;
};

/* Whether a given gain is likely to be allowed, by what was heard of the take. */
bool tt_outlet_may_be_straight(const struct tt_render_request *request);

struct tt_outlet_kind {
    bool is_whole, is_straight;
};
bool tt_outlet_open(struct tt_outlet *outlet, const struct tt_render_request *request, struct tt_voice_reader *reader,
                    const struct tt_audio_info *info, struct tt_outlet_kind kind, struct tt_error *err);
bool tt_outlet_add(void *outlet, const float *samples, size_t count, struct tt_error *err); /* a tt_sink */
bool tt_outlet_finish(struct tt_outlet *outlet, struct tt_error *err);
/* The gain that was given, lowered where the voice's peaks ask for it; behind finish. What went straight into a file
 * cannot be lowered any more: *is_held_back tells that it might have to be. */
double tt_outlet_allowed_gain_db(struct tt_outlet *outlet, bool *is_held_back);
/* Writes the file, or publishes what is written. With a finder: with its gain, which goes into *gain_db; else with the
 * one that stands there. */
bool tt_outlet_deliver(struct tt_outlet *outlet, double *gain_db, bool *is_held_back, struct tt_delivered *delivered,
                       struct tt_error *err);
void tt_outlet_close(struct tt_outlet *outlet);

#endif
