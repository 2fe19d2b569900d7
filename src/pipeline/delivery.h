/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The last steps of every delivered file: gain, true-peak limit, measuring, writing. */
#ifndef TT_PIPELINE_DELIVERY_H
#define TT_PIPELINE_DELIVERY_H

#include <stdbool.h>
#include <stddef.h>

#include "audio/writer.h"
#include "base/settings.h"
#include "dsp/meter.h"
#include "pipeline/gain_finder.h"
#include "pipeline/portrait.h"
#include "pipeline/quiet_meter.h"

/* Gives out mono samples: fills at most `most`, returns their number, 0 at the end, -1 on error; rewind starts it
 * again. */
struct tt_source {
    void *context;
    int64_t (*read)(void *context, float *samples, size_t most, struct tt_error *err);
    bool (*rewind)(void *context, struct tt_error *err);
    bool (*go_on)(void *context); /* asked before each block; false ends the work with TT_ERROR_STOPPED; NULL: always */
    void *go_on_context;
    bool has_second_thread; /* limiter, and what comes behind it, may each go into another thread: the same bits */
};

struct tt_delivery {
    const char *path;
    struct tt_sound_format format;
    const struct tt_label *labels;
    size_t label_count;
    const struct tt_bext *bext;          /* NULL: none */
    const struct tt_span_samples *quiet; /* where the floor is measured, in output samples, rising; may be NULL */
    size_t quiet_count;
    const char *limit_path; /* where the limiter's demands are kept (pipeline/limit_record.h); NULL: nowhere */
    const char *voice_heard_path,
        *picture_prefix; /* what the page shows of it (pipeline/portrait.h); NULL: nobody asks */
    const struct tt_settings *settings;
};
struct tt_delivered {
    struct tt_levels levels;
    double floor_dbfs, floor_dba;
    double limited_db;
    double over_db; /* how far the highest peak stood over the ceiling before the limiter */
};

/* A file whose sound comes as it is made: opened, added to, finished, published; closed in any case, which drops what
 * was not published. What delivery points at has to last until it is finished. */
struct tt_delivering;
struct tt_delivering *tt_delivering_open(const struct tt_delivery *delivery, double gain_db, bool has_second_thread,
                                         struct tt_error *err);
bool tt_delivering_add(void *delivering, const float *samples, size_t count, struct tt_error *err); /* a tt_sink */
bool tt_delivering_finish(struct tt_delivering *delivering, struct tt_delivered *delivered, struct tt_error *err);
bool tt_delivering_publish(struct tt_delivering *delivering, const struct tt_levels *levels, struct tt_error *err);
void tt_delivering_close(struct tt_delivering *delivering); /* NULL is fine */

/* Measures a source as it is. */
bool tt_delivery_measure(const struct tt_source *source, struct tt_gain_finder *finder, struct tt_error *err);
/* Writes the file, whole or not at all. */
bool tt_delivery_write(const struct tt_source *source, const struct tt_delivery *delivery, double gain_db,
                       struct tt_delivered *delivered, struct tt_error *err);
/* The same with the gain that meets the target exactly; finder has measured the source. Written again where the
 * finder's forecast was off. */
bool tt_delivery_write_exact(const struct tt_source *source, const struct tt_delivery *delivery,
                             struct tt_gain_finder *finder, double *gain_db, bool *is_held_back,
                             struct tt_delivered *delivered, struct tt_error *err);

/* A source over a scratch file. */
struct tt_scratch;
struct tt_source tt_source_of_scratch(struct tt_scratch *scratch);

#endif
