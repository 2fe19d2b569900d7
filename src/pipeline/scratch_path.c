/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/scratch_path.h"

#include <stdlib.h>

#include "base/units.h"

enum { BLOCK_SAMPLES = 1 << 14 };

bool tt_scratch_path_open(struct tt_scratch_path *path, const char *folder, int from_hz, int to_hz, struct tt_error *err)
{
    if (from_hz != to_hz) {
        path->resampler = tt_resampler_create(from_hz, to_hz, err);
        path->resampled = malloc(BLOCK_SAMPLES * sizeof(float));
        if (!path->resampler || !path->resampled)
            return path->resampler ? tt_fail_memory(err) : false;
    }
    return (path->scratch = tt_scratch_open(folder, err)) != NULL;
}

bool tt_scratch_path_measure(struct tt_scratch_path *path, int to_hz, const struct tt_settings *settings, bool is_peak_enough, struct tt_error *err)
{
    if (is_peak_enough)
        return (path->peak = tt_true_peak_create(to_hz, err)) != NULL;
    return (path->finder = tt_gain_finder_create(to_hz, settings, err)) != NULL;
}

void tt_scratch_path_close(struct tt_scratch_path *path)
{
    tt_scratch_close(path->scratch);
    tt_resampler_destroy(path->resampler);
    tt_gain_finder_destroy(path->finder);
    tt_true_peak_destroy(path->peak);
    free(path->resampled);
}

static bool keep(struct tt_scratch_path *path, const float *samples, size_t count, struct tt_error *err)
{
    if (path->peak)
        tt_true_peak_add(path->peak, samples, count);
    return (!path->finder || tt_gain_finder_add(path->finder, samples, count, err)) && tt_scratch_add(path->scratch, samples, count, err);
}

bool tt_scratch_path_add(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct tt_scratch_path *path = context;
    if (!path->resampler)
        return keep(path, samples, count, err);
    while (count > 0) {
        size_t used = 0;
        int64_t made = tt_resampler_run(path->resampler, samples, count, &used, path->resampled, BLOCK_SAMPLES, err);
        if (made < 0 || !keep(path, path->resampled, (size_t)made, err))
            return false;
        if (made == 0 && used == 0)
            return tt_fail(err, TT_ERROR_INTERNAL, "the resampler stands still");
        samples += used;
        count -= used;
    }
    return true;
}

bool tt_scratch_path_finish(struct tt_scratch_path *path, struct tt_error *err)
{
    int64_t made = 1;
    while (path->resampler && made > 0) {
        size_t used = 0;
        made = tt_resampler_run(path->resampler, NULL, 0, &used, path->resampled, BLOCK_SAMPLES, err);
        if (made < 0 || !keep(path, path->resampled, (size_t)made, err))
            return false;
    }
    return true;
}

struct tt_levels tt_scratch_path_levels(struct tt_scratch_path *path)
{
    if (path->finder)
        return *tt_gain_finder_levels(path->finder);
    return (struct tt_levels){.max_true_peak_dbtp = tt_db_from_amplitude(tt_true_peak_result(path->peak))};
}
