/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The last steps of every delivered file: gain, true-peak limit, measuring, writing. */
#ifndef TT_PIPELINE_DELIVERY_H
#define TT_PIPELINE_DELIVERY_H

#include <stdbool.h>
#include <stddef.h>

#include "audio/writer.h"
#include "base/settings.h"
#include "dsp/meter.h"
#include "pipeline/quiet_meter.h"

/* Gives out mono samples: fills at most `most`, returns their number, 0 at the end, -1 on error; rewind starts it again. */
struct tt_source {
    void *context;
    int64_t (*read)(void *context, float *samples, size_t most, struct tt_error *err);
    bool (*rewind)(void *context, struct tt_error *err);
    bool (*go_on)(void *context);  /* asked before each block; false ends the work with TT_ERROR_STOPPED; NULL: always */
    void *go_on_context;
};

struct tt_delivery {
    const char *path;
    struct tt_sound_format format;
    int64_t frame_count;
    const struct tt_label *labels;
    size_t label_count;
    const struct tt_bext *bext;          /* NULL: none */
    const struct tt_span_samples *quiet; /* where the floor is measured, in output samples, rising; may be NULL */
    size_t quiet_count;
    const struct tt_settings *settings;
};
struct tt_delivered {
    struct tt_levels levels;
    double floor_dbfs, floor_dba;
    double limited_db;
};

/* Measures a source as it is. */
bool tt_delivery_measure(const struct tt_source *source, int rate_hz, const struct tt_settings *settings, struct tt_levels *levels, struct tt_error *err);
/* The gain (dB) that brings a source with these levels exactly to the target: where the limiter acts, what it takes off is measured and made up for; never asks
 * it for more than limit_most_db: *is_held_back tells that the target is missed for that. */
bool tt_delivery_find_gain(const struct tt_source *source, int rate_hz, const struct tt_settings *settings, const struct tt_levels *levels, double *gain_db,
                           bool *is_held_back, struct tt_error *err);
/* A fixed gain, lowered where the limiter would have to take off more than limit_most_db. */
double tt_delivery_allowed_gain_db(double gain_db, const struct tt_levels *levels, const struct tt_settings *settings, bool *is_held_back);
/* Writes the file, whole or not at all. */
bool tt_delivery_write(const struct tt_source *source, const struct tt_delivery *delivery, double gain_db, struct tt_delivered *delivered, struct tt_error *err);

/* A source over a scratch file. */
struct tt_scratch;
struct tt_source tt_source_of_scratch(struct tt_scratch *scratch);

#endif
