/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/resample.h"

#include <soxr.h>
#include <stdlib.h>
#include <string.h>

#include "base/rescale.h"

struct tt_resampler {
    soxr_t soxr; /* NULL: equal rates, copied */
    int from_hz, to_hz;
    int64_t taken, given; /* samples */
    bool is_ending;
};

struct tt_resampler *tt_resampler_create(int from_hz, int to_hz, struct tt_error *err)
{
    struct tt_resampler *resampler = calloc(1, sizeof *resampler);
    if (resampler == NULL) {
        (void)tt_fail_memory(err);
        return NULL;
    }
    resampler->from_hz = from_hz;
    resampler->to_hz = to_hz;
    if (from_hz == to_hz && from_hz > 0)
        return resampler;
    soxr_error_t why = "a rate of zero";
    const soxr_io_spec_t floats = soxr_io_spec(SOXR_FLOAT32_I, SOXR_FLOAT32_I);
    const soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, 0);
    const soxr_runtime_spec_t one_thread = soxr_runtime_spec(1);
    if (from_hz > 0 && to_hz > 0)
        resampler->soxr = soxr_create(from_hz, to_hz, 1, &why, &floats, &quality, &one_thread);
    if (resampler->soxr != NULL)
        return resampler;
    (void)tt_fail(err, TT_ERROR_INTERNAL, "no change of rate from %d Hz to %d Hz: %s", from_hz, to_hz,
                  why != NULL ? why : "unknown");
    free(resampler);
    return NULL;
}

static int64_t copy_on(struct tt_resampler *resampler, const float *samples, size_t count, size_t *used, float *output,
                       size_t most)
{
    size_t n = count < most ? count : most;
    if (n > 0)
        memcpy(output, samples, n * sizeof *output);
    resampler->taken += (int64_t)n;
    *used = n;
    return (int64_t)n;
}

/* Cuts or fills up what comes out after the end, so that the whole is exactly as long as promised. */
static int64_t settle_end(const struct tt_resampler *resampler, float *output, size_t got, size_t most)
{
    int64_t missing = tt_rescale_frames(resampler->taken, resampler->from_hz, resampler->to_hz) - resampler->given;
    if (missing < 0)
        missing = 0;
    if ((int64_t)got >= missing)
        return missing;
    if (got > 0)
        return (int64_t)got;
    size_t zeros = missing < (int64_t)most ? (size_t)missing : most;
    for (size_t i = 0; i < zeros; i++)
        output[i] = 0.0f;
    return (int64_t)zeros;
}

int64_t tt_resampler_run(struct tt_resampler *resampler, const float *samples, size_t count, size_t *used,
                         float *output, size_t most, struct tt_error *err)
{
    *used = 0;
    if (resampler->is_ending && count > 0) {
        (void)tt_fail(err, TT_ERROR_INTERNAL, "sound after the end of a change of rate");
        return -1;
    }
    if (resampler->soxr == NULL)
        return copy_on(resampler, samples, count, used, output, most);
    const bool is_end = count == 0 && samples == NULL;
    if (count == 0 && !is_end)
        return 0; /* an empty block is not the end */
    size_t got = 0;
    soxr_error_t why =
        soxr_process(resampler->soxr, is_end ? NULL : samples, count, is_end ? NULL : used, output, most, &got);
    if (why != NULL) {
        (void)tt_fail(err, TT_ERROR_INTERNAL, "change of rate: %s", why);
        return -1;
    }
    resampler->taken += (int64_t)*used;
    resampler->is_ending = is_end;
    int64_t given = is_end ? settle_end(resampler, output, got, most) : (int64_t)got;
    resampler->given += given;
    return given;
}

void tt_resampler_destroy(struct tt_resampler *resampler)
{
    if (resampler == NULL)
        return;
    if (resampler->soxr != NULL)
        soxr_delete(resampler->soxr);
    free(resampler);
}
