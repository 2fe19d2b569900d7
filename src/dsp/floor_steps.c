/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/floor_steps.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/median.h"
#include "base/units.h"

static const double STEP_S = 0.5;
/* Octaves: a band for each colour a room may change in. */
static const double BAND_EDGE_HZ[TT_FLOOR_BANDS + 1] = {0, 150, 300, 600, 1200, 2400, 4800, 9600, 1e9};
/* A quiet frame that leaves its step's median by more than this in a band holds a click, or is partly muted. Noise
 * itself does so in under 1 of 1000 frames where a band has 4 bins (chi-square with 8 degrees of freedom). */
static const float FRAME_OUTLIER_DB = 7.0F;
static const float POWER_LEAST = 1e-14F; /* -140 dBFS: never 0, so that ratios stay finite */

bool tt_floor_steps_init(struct tt_floor_steps *steps, struct tt_stft_shape shape, double ring_s, struct tt_error *err)
{
    memset(steps, 0, sizeof *steps);
    const size_t bins = (size_t)shape.bin_count;
    steps->shape = shape;
    steps->step_samples = (int64_t)(STEP_S * shape.rate_hz);
    steps->ring_count = (int64_t)ceil(ring_s / STEP_S) + 2;
    steps->frame_room = (int)(steps->step_samples / shape.hop_samples) + 2;
    const double bin_hz = (double)shape.rate_hz / shape.window_samples;
    for (int b = 0; b <= TT_FLOOR_BANDS; b++) {
        const double first = ceil(BAND_EDGE_HZ[b] / bin_hz);
        steps->band_first[b] = b == 0 ? 1 : first < shape.bin_count ? (int)first : shape.bin_count;
    }
    const size_t ring = (size_t)steps->ring_count, room = (size_t)steps->frame_room;
    steps->ring = calloc(ring, sizeof *steps->ring);
    steps->rows = malloc(ring * bins * sizeof *steps->rows);
    steps->frames = malloc(room * bins * sizeof *steps->frames);
    steps->frame_sample = malloc(room * sizeof *steps->frame_sample);
    steps->frame_bands = malloc(room * TT_FLOOR_BANDS * sizeof *steps->frame_bands);
    if (!steps->ring || !steps->rows || !steps->frames || !steps->frame_sample || !steps->frame_bands) {
        tt_floor_steps_free(steps);
        return tt_fail_memory(err);
    }
    for (size_t i = 0; i < ring; i++)
        steps->ring[i].index = -1;
    return true;
}

void tt_floor_steps_free(struct tt_floor_steps *steps)
{
    free(steps->ring);
    free(steps->rows);
    free(steps->frames);
    free(steps->frame_sample);
    free(steps->frame_bands);
    memset(steps, 0, sizeof *steps);
}

void tt_floor_steps_bands(const struct tt_floor_steps *steps, const float *power, float *bands)
{
    for (int b = 0; b < TT_FLOOR_BANDS; b++) {
        double sum = 0.0;
        const int first = steps->band_first[b], last = steps->band_first[b + 1];
        for (int i = first; i < last; i++)
            sum += (double)power[i];
        const double mean = last > first ? sum / (last - first) : 0.0;
        bands[b] = (float)(10.0 * log10(mean + (double)POWER_LEAST));
    }
}

/* Straight in dB between the bands' middles, so that no step is left at their edges. */
void tt_floor_steps_shift(const struct tt_floor_steps *steps, const float *row, const float *shift_db, float *shifted)
{
    int b = 0;
    for (int i = 0; i < steps->shape.bin_count; i++) {
        float left = 0.0F, right = 0.0F;
        for (;; b++) {
            left = 0.5F * (float)(steps->band_first[b] + steps->band_first[b + 1]);
            right =
                b + 2 <= TT_FLOOR_BANDS ? 0.5F * (float)(steps->band_first[b + 1] + steps->band_first[b + 2]) : left;
            if (b + 2 > TT_FLOOR_BANDS || (float)i <= right)
                break;
        }
        float part = right > left ? ((float)i - left) / (right - left) : 0.0F;
        part = part < 0.0F ? 0.0F : part > 1.0F ? 1.0F : part;
        const float next = b + 1 < TT_FLOOR_BANDS ? shift_db[b + 1] : shift_db[b];
        shifted[i] = row[i] * (float)tt_power_from_db((double)(shift_db[b] + part * (next - shift_db[b])));
    }
}

void tt_floor_steps_add(struct tt_floor_steps *steps, int64_t sample, const float *power)
{
    if (steps->frame_count == steps->frame_room)
        return;
    const size_t bins = (size_t)steps->shape.bin_count, at = (size_t)steps->frame_count++;
    memcpy(steps->frames + at * bins, power, bins * sizeof *power);
    steps->frame_sample[at] = sample;
    tt_floor_steps_bands(steps, power, steps->frame_bands + at * TT_FLOOR_BANDS);
}

void tt_floor_steps_take_back(struct tt_floor_steps *steps, int64_t sample)
{
    while (steps->frame_count > 0 && steps->frame_sample[steps->frame_count - 1] >= sample)
        steps->frame_count--;
}

float tt_floor_median(double *values, int count) { return count > 0 ? (float)tt_median(values, (size_t)count) : 0.0F; }

static void band_medians(const struct tt_floor_steps *steps, float *medians)
{
    double values[512];
    int stride = 1;
    while (steps->frame_count / stride > 511)
        stride++;
    for (int b = 0; b < TT_FLOOR_BANDS; b++) {
        int count = 0;
        for (int i = 0; i < steps->frame_count; i += stride)
            values[count++] = (double)steps->frame_bands[i * TT_FLOOR_BANDS + b];
        medians[b] = tt_floor_median(values, count);
    }
}

static bool is_outlier(const float *bands, const float *medians)
{
    for (int b = 0; b < TT_FLOOR_BANDS; b++)
        if (fabsf(bands[b] - medians[b]) > FRAME_OUTLIER_DB)
            return true;
    return false;
}

void tt_floor_steps_close(struct tt_floor_steps *steps)
{
    const int bins = steps->shape.bin_count;
    struct tt_floor_step *step = &steps->ring[steps->open % steps->ring_count];
    float *row = steps->rows + (size_t)(steps->open % steps->ring_count) * (size_t)bins;
    float medians[TT_FLOOR_BANDS];
    step->index = steps->open++;
    step->frames = 0;
    memset(row, 0, (size_t)bins * sizeof *row);
    band_medians(steps, medians);
    for (int f = 0; f < steps->frame_count; f++) {
        const float *frame = steps->frames + (size_t)f * (size_t)bins;
        if (is_outlier(steps->frame_bands + f * TT_FLOOR_BANDS, medians))
            continue;
        for (int i = 0; i < bins; i++)
            row[i] += frame[i];
        step->counted.end = steps->frame_sample[f];
        if (step->frames++ == 0)
            step->counted.start = steps->frame_sample[f];
    }
    const int last = steps->frame_count - 1;
    steps->frame_count = 0;
    if (step->frames == 0)
        return;
    step->quiet = (struct tt_span_samples){steps->frame_sample[0], steps->frame_sample[last]};
    const float share = 1.0F / (float)step->frames;
    for (int i = 0; i < bins; i++)
        row[i] = row[i] * share + POWER_LEAST;
    tt_floor_steps_bands(steps, row, step->band_db);
}

const struct tt_floor_step *tt_floor_steps_get(const struct tt_floor_steps *steps, int64_t index)
{
    if (index < 0 || index >= steps->open)
        return NULL;
    const struct tt_floor_step *step = &steps->ring[index % steps->ring_count];
    return step->index == index ? step : NULL;
}

const float *tt_floor_steps_row(const struct tt_floor_steps *steps, int64_t index)
{
    return steps->rows + (size_t)(index % steps->ring_count) * (size_t)steps->shape.bin_count;
}
