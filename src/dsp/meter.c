/* SPDX-License-Identifier: GPL-2.0-or-later */
/* K-weighted power is gathered in steps of 10 ms, ten of which make a step of the list. Step k ends at sample
 * round(k * rate / 100): at rates that 100 does not divide (22.05 and 11.025 kHz) steps differ by a sample, while
 * blocks of 400 ms keep their length to the nearest sample, as BS.1770-5 asks. What is left of a step at the end is
 * dropped. */
#include "dsp/meter.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/grow.h"
#include "base/units.h"
#include "base/wide.h"
#include "dsp/k_weighting.h"
#include "dsp/limiter.h"
#include "dsp/loudness.h"

enum {
    LEAST_RATE_HZ = 8000,
    MOST_RATE_HZ = 384000,
    MOST_CHANNELS = 64,
    STEPS_A_SECOND = 100,
    STEPS_OF_TEN = 10,    /* steps of 10 ms in one of the list */
    MOMENTARY_TENS = 4,   /* Tech 3341 2.2: 400 ms */
    SHORT_TERM_TENS = 30, /* Tech 3341 2.2: 3 s */
    RING = SHORT_TERM_TENS * STEPS_OF_TEN,
    LANES = 16 /* partial sums of squares, by sample number, so that cuts do not matter */
};

struct meter_channel {
    struct tt_k_weighting *filter;
    struct tt_true_peak *true_peak;
    double weight;
    float *samples; /* of the step that is being gathered */
};

struct tt_meter {
    int rate_hz, channel_count;
    double result_weight; /* of the mono meter: the list holds power without it */
    struct meter_channel *channels;
    float *gathered;                                 /* what the channels' samples point into */
    size_t step_capacity, step_samples, step_filled; /* samples a channel: room, length and fill of the current step */
    int64_t step_number;                             /* 10 ms steps completed */
    int64_t frame_count;
    double ten_ms[RING];     /* the last powers of 10 ms steps ... */
    double hundred_ms[RING]; /* ... and sums of ten of them, by the number of the last */
    double highest_momentary, highest_short_term;
    double squares[LANES];
    float *steps; /* mean power of each 100 ms */
    size_t step_count, capacity;
    float *room;     /* for the range: got as steps grow, so that a result cannot fail */
    size_t room_for; /* so many steps */
};

static int64_t step_end(const struct tt_meter *meter, int64_t steps)
{
    return (steps * meter->rate_hz + STEPS_A_SECOND / 2) / STEPS_A_SECOND;
}

static void begin_step(struct tt_meter *meter)
{
    meter->step_filled = 0;
    meter->step_samples = (size_t)(step_end(meter, meter->step_number + 1) - step_end(meter, meter->step_number));
}

static bool create_channels(struct tt_meter *meter, const double *weights, struct tt_error *err)
{
    const size_t count = (size_t)meter->channel_count;
    meter->step_capacity = (size_t)(meter->rate_hz / STEPS_A_SECOND) + 1;
    meter->channels = calloc(count, sizeof *meter->channels);
    meter->gathered = calloc(count * meter->step_capacity, sizeof *meter->gathered);
    if (meter->channels == NULL || meter->gathered == NULL)
        return tt_fail_memory(err);
    for (size_t c = 0; c < count; c++) {
        struct meter_channel *channel = &meter->channels[c];
        channel->weight = weights[c];
        channel->samples = meter->gathered + c * meter->step_capacity;
        channel->filter = tt_k_weighting_create(meter->rate_hz, err);
        channel->true_peak = tt_true_peak_create(meter->rate_hz, err);
        if (channel->filter == NULL || channel->true_peak == NULL)
            return false;
    }
    return true;
}

static struct tt_meter *create(int rate_hz, const double *weights, int channel_count, double result_weight,
                               struct tt_error *err)
{
    if (rate_hz < LEAST_RATE_HZ || rate_hz > MOST_RATE_HZ || channel_count < 1 || channel_count > MOST_CHANNELS) {
        tt_fail(err, TT_ERROR_INTERNAL, "loudness: %d channels at %d Hz", channel_count, rate_hz);
        return NULL;
    }
    struct tt_meter *meter = calloc(1, sizeof *meter);
    if (meter == NULL) {
        tt_fail_memory(err);
        return NULL;
    }
    meter->rate_hz = rate_hz;
    meter->channel_count = channel_count;
    meter->result_weight = result_weight;
    meter->highest_momentary = meter->highest_short_term = 0.0;
    if (!create_channels(meter, weights, err)) {
        tt_meter_destroy(meter);
        return NULL;
    }
    begin_step(meter);
    return meter;
}

struct tt_meter *tt_meter_create(int rate_hz, double channel_weight, struct tt_error *err)
{
    const double one = 1.0;
    return create(rate_hz, &one, 1, channel_weight, err);
}

struct tt_meter *tt_meter_create_channels(int rate_hz, const double *weights, int channel_count, struct tt_error *err)
{
    return create(rate_hz, weights, channel_count, 1.0, err);
}

void tt_meter_destroy(struct tt_meter *meter)
{
    if (meter == NULL)
        return;
    for (int c = 0; meter->channels != NULL && c < meter->channel_count; c++) {
        tt_k_weighting_destroy(meter->channels[c].filter);
        tt_true_peak_destroy(meter->channels[c].true_peak);
    }
    free(meter->channels);
    free(meter->gathered);
    free(meter->steps);
    free(meter->room);
    free(meter);
}

static bool append_step(struct tt_meter *meter, double power, struct tt_error *err)
{
    float *steps = tt_grow(meter->steps, meter->step_count, &meter->capacity, sizeof *steps, err);
    if (steps == NULL)
        return false;
    meter->steps = steps;
    if (meter->room_for < meter->capacity) {
        float *room = realloc(meter->room, tt_loudness_room(meter->capacity) * sizeof *room);
        if (room == NULL)
            return tt_fail_memory(err);
        meter->room = room;
        meter->room_for = meter->capacity;
    }
    meter->steps[meter->step_count++] = (float)power;
    return true;
}

/* Power of tens * 100 ms that end with step number last: sums of sums, made anew, so that no error can gather. */
static double window_power(const struct tt_meter *meter, int last, int tens)
{
    double sum = 0.0;
    for (int i = 0, at = last; i < tens; i++) {
        sum += meter->hundred_ms[at];
        at = at >= STEPS_OF_TEN ? at - STEPS_OF_TEN : at + RING - STEPS_OF_TEN;
    }
    return sum / (tens * STEPS_OF_TEN);
}

static bool add_power(struct tt_meter *meter, double power, struct tt_error *err)
{
    const int64_t last = meter->step_number;
    const int place = (int)(last % RING);
    double hundred = 0.0;
    meter->ten_ms[place] = power;
    for (int i = 0, at = place; i < STEPS_OF_TEN; i++) { /* steps that were not yet are 0 */
        hundred += meter->ten_ms[at];
        at = at > 0 ? at - 1 : RING - 1;
    }
    meter->hundred_ms[place] = hundred;
    if (last + 1 >= MOMENTARY_TENS * STEPS_OF_TEN)
        meter->highest_momentary = fmax(meter->highest_momentary, window_power(meter, place, MOMENTARY_TENS));
    if (last + 1 >= RING)
        meter->highest_short_term = fmax(meter->highest_short_term, window_power(meter, place, SHORT_TERM_TENS));
    return (last + 1) % STEPS_OF_TEN != 0 || append_step(meter, hundred / STEPS_OF_TEN, err);
}

/* whole: the step of a single channel where it was never gathered; NULL. */
static bool finish_step(struct tt_meter *meter, const float *whole, struct tt_error *err)
{
    double energy = 0.0;
    for (int c = 0; c < meter->channel_count; c++) {
        struct meter_channel *channel = &meter->channels[c];
        energy += channel->weight *
                  tt_k_weighting_energy(channel->filter, whole ? whole : channel->samples, meter->step_samples);
    }
    const bool kept = add_power(meter, energy / (double)meter->step_samples, err);
    meter->step_number++;
    begin_step(meter);
    return kept;
}

TT_WIDE static void add_squares(double squares[LANES], const float *samples, size_t count, size_t lane)
{
    double sums[LANES];
    size_t i = 0;
    for (; i < count && lane % LANES != 0; i++, lane++)
        squares[lane] += (double)samples[i] * samples[i];
    memcpy(sums, squares, sizeof sums);
    for (; i + LANES <= count; i += LANES)
        for (size_t k = 0; k < LANES; k++)
            sums[k] += (double)samples[i + k] * samples[i + k];
    for (size_t k = 0; i < count; i++, k++)
        sums[k] += (double)samples[i] * samples[i];
    memcpy(squares, sums, sizeof sums);
}

/* What does not go by steps. */
static void add_peaks_and_squares(struct tt_meter *meter, size_t channel, const float *samples, size_t count)
{
    tt_true_peak_add(meter->channels[channel].true_peak, samples, count);
    add_squares(meter->squares, samples, count, (size_t)(meter->frame_count % LANES));
}

/* Part of a step, from several channels. */
static void gather(struct tt_meter *meter, const float *interleaved, size_t part)
{
    const size_t stride = (size_t)meter->channel_count;
    for (size_t c = 0; c < stride; c++) {
        float *gathered = meter->channels[c].samples + meter->step_filled;
        for (size_t i = 0; i < part; i++)
            gathered[i] = interleaved[i * stride + c];
        add_peaks_and_squares(meter, c, gathered, part);
    }
}

bool tt_meter_add_frames(struct tt_meter *meter, const float *interleaved, size_t frame_count, struct tt_error *err)
{
    const size_t stride = (size_t)meter->channel_count;
    const bool is_mono = stride == 1;
    if (is_mono)
        add_peaks_and_squares(meter, 0, interleaved, frame_count);
    while (frame_count > 0) {
        const size_t room = meter->step_samples - meter->step_filled;
        const size_t part = frame_count < room ? frame_count : room;
        const float *whole = is_mono && part == meter->step_samples ? interleaved : NULL;
        if (!is_mono)
            gather(meter, interleaved, part);
        else if (!whole)
            memcpy(meter->channels[0].samples + meter->step_filled, interleaved, part * sizeof *interleaved);
        interleaved += part * stride;
        frame_count -= part;
        meter->frame_count += (int64_t)part;
        meter->step_filled += part;
        if (meter->step_filled == meter->step_samples && !finish_step(meter, whole, err))
            return false;
    }
    return true;
}

bool tt_meter_add(struct tt_meter *meter, const float *samples, size_t count, struct tt_error *err)
{
    if (meter->channel_count != 1)
        return tt_fail(err, TT_ERROR_INTERNAL, "loudness: mono samples for %d channels", meter->channel_count);
    return tt_meter_add_frames(meter, samples, count, err);
}

static double mean_square(const struct tt_meter *meter)
{
    double sum = 0.0;
    for (int lane = 0; lane < LANES; lane++)
        sum += meter->squares[lane];
    return meter->frame_count == 0 ? 0.0 : sum / ((double)meter->frame_count * meter->channel_count);
}

static void find_peaks(struct tt_meter *meter, struct tt_levels *levels)
{
    double between = 0.0, of_samples = 0.0;
    for (int c = 0; c < meter->channel_count; c++) {
        between = fmax(between, tt_true_peak_result(meter->channels[c].true_peak));
        of_samples = fmax(of_samples, tt_true_peak_of_samples(meter->channels[c].true_peak));
    }
    levels->max_true_peak_dbtp = tt_db_from_amplitude(between);
    levels->sample_peak_dbfs = tt_db_from_amplitude(of_samples);
}

struct tt_levels tt_meter_result(struct tt_meter *meter)
{
    const double weight = meter->result_weight;
    struct tt_levels levels = {
        .duration_s = (double)meter->frame_count / meter->rate_hz,
        .integrated_lufs = tt_loudness_of_steps(meter->steps, meter->step_count, weight),
        .max_momentary_lufs = tt_lufs_from_power(meter->highest_momentary * weight),
        .max_short_term_lufs = tt_lufs_from_power(meter->highest_short_term * weight),
        .rms_dbfs = tt_db_from_power(mean_square(meter)),
    };
    find_peaks(meter, &levels);
    levels.loudness_range_lu = tt_loudness_range_in(meter->steps, meter->step_count, weight, meter->room);
    return levels;
}

const float *tt_meter_steps(const struct tt_meter *meter, size_t *count)
{
    *count = meter->step_count;
    return meter->steps;
}
