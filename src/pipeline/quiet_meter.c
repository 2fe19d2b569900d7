/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/quiet_meter.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "dsp/floor_track.h"
#include "dsp/stft.h"
#include "dsp/third_octaves.h"

struct tt_quiet_meter {
    struct tt_stft *stft;
    struct tt_stft_shape shape;
    const struct tt_span_samples *spans;
    size_t count, at;
    int64_t position;
    float *window;
    size_t filled;
    float *power;
    double *power_sum;
    int64_t frame_count;
};

void tt_quiet_meter_destroy(struct tt_quiet_meter *meter)
{
    if (!meter)
        return;
    tt_stft_destroy(meter->stft);
    free(meter->window);
    free(meter->power);
    free(meter->power_sum);
    free(meter);
}

struct tt_quiet_meter *tt_quiet_meter_create(int rate_hz, const struct tt_span_samples *spans, size_t count,
                                             struct tt_error *err)
{
    struct tt_quiet_meter *meter = calloc(1, sizeof *meter);
    if (!meter) {
        tt_fail_memory(err);
        return NULL;
    }
    meter->shape = tt_stft_shape_for(rate_hz);
    meter->spans = spans;
    meter->count = count;
    size_t bins = (size_t)meter->shape.bin_count;
    meter->window = calloc((size_t)meter->shape.window_samples, sizeof(float));
    meter->power = calloc(bins, sizeof(float));
    meter->power_sum = calloc(bins, sizeof(double));
    if (!meter->window || !meter->power || !meter->power_sum)
        tt_fail_memory(err);
    else
        meter->stft = tt_stft_create(meter->shape, err);
    if (!meter->stft) {
        tt_quiet_meter_destroy(meter);
        return NULL;
    }
    return meter;
}

static void measure_window(struct tt_quiet_meter *meter)
{
    tt_stft_powers(meter->stft, meter->window, meter->power);
    for (int k = 0; k < meter->shape.bin_count; k++)
        meter->power_sum[k] += (double)meter->power[k];
    meter->frame_count++;
}

void tt_quiet_meter_add(struct tt_quiet_meter *meter, const float *samples, size_t count)
{
    const int64_t end = meter->position + (int64_t)count;
    int64_t at = meter->position;
    while (meter->at < meter->count && at < end) {
        const struct tt_span_samples *span = &meter->spans[meter->at];
        if (span->end <= at) {
            meter->at++;
            meter->filled = 0;
            continue;
        }
        if (span->start >= end)
            break;
        if (span->start > at)
            at = span->start;
        int64_t until = span->end < end ? span->end : end;
        while (at < until) {
            size_t room = (size_t)meter->shape.window_samples - meter->filled;
            size_t part = (int64_t)room < until - at ? room : (size_t)(until - at);
            memcpy(meter->window + meter->filled, samples + (at - meter->position), part * sizeof(float));
            meter->filled += part;
            at += (int64_t)part;
            if (meter->filled == (size_t)meter->shape.window_samples) {
                measure_window(meter);
                meter->filled = 0;
            }
        }
    }
    meter->position = end;
}

void tt_quiet_meter_result(const struct tt_quiet_meter *meter, double *dbfs, double *dba)
{
    *dbfs = *dba = NAN;
    if (meter->frame_count == 0)
        return;
    /* Every bin but the first and the last stands for itself and its mirror image. */
    double sum = 0, sum_a = 0;
    for (int k = 0; k < meter->shape.bin_count; k++) {
        double hz = (double)k * meter->shape.rate_hz / meter->shape.window_samples;
        double sides = k == 0 || k == meter->shape.bin_count - 1 ? 1 : 2;
        double power = sides * meter->power_sum[k] / (double)meter->frame_count / meter->shape.window_samples;
        sum += power;
        if (k > 0)
            sum_a += power * tt_power_from_db(tt_a_weight_db(hz));
    }
    *dbfs = tt_db_from_power(sum);
    *dba = tt_db_from_power(sum_a);
}

void tt_quiet_meter_thirds(const struct tt_quiet_meter *meter, double *thirds)
{
    if (!meter || meter->frame_count == 0) {
        for (int band = 0; band < TT_THIRDS; band++)
            thirds[band] = NAN;
        return;
    }
    tt_third_octaves(meter->shape, meter->power_sum, thirds);
    for (int band = 0; band < TT_THIRDS; band++)
        thirds[band] /= (double)meter->frame_count;
}
