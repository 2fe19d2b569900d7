/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Samples on their way into a scratch file, by way of the resampler where rates differ, measured as they pass. */
#ifndef TT_PIPELINE_SCRATCH_PATH_H
#define TT_PIPELINE_SCRATCH_PATH_H

#include <stdbool.h>
#include <stddef.h>

#include "audio/resample.h"
#include "base/file.h"
#include "dsp/limiter.h"
#include "pipeline/gain_finder.h"

/* Start from {0}; close in any case. */
struct tt_scratch_path {
    struct tt_scratch *scratch;
    struct tt_resampler *resampler; /* NULL where rates are the same */
    float *resampled;
    struct tt_gain_finder *finder;  /* at most one of the two */
    struct tt_true_peak *peak;
};

bool tt_scratch_path_open(struct tt_scratch_path *path, const char *folder, int from_hz, int to_hz, struct tt_error *err);
/* Called before anything is added: all levels are wanted, or the true peak alone, which costs a third. */
bool tt_scratch_path_measure(struct tt_scratch_path *path, int to_hz, const struct tt_settings *settings, bool is_peak_enough, struct tt_error *err);
/* A tt_sink. */
bool tt_scratch_path_add(void *path, const float *samples, size_t count, struct tt_error *err);
bool tt_scratch_path_finish(struct tt_scratch_path *path, struct tt_error *err);
/* Of what was added; once, after finish. Where the peak was enough it alone is set. */
struct tt_levels tt_scratch_path_levels(struct tt_scratch_path *path);
void tt_scratch_path_close(struct tt_scratch_path *path);

#endif
