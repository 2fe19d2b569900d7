/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is low is found at a low rate and taken away from the sound: output = input - lowpass(input), where the low-pass
 * is a fourth-order Butterworth run forwards and backwards at some twelve times the cutoff. Some eight products a
 * sample, in loops that vectorise, where two biquads each way would wait for each other's results. The bridge between
 * the rates is a cubic B-spline each way; its droop is undone at the low rate, its images fall where the spline has
 * zeros. */
#include "dsp/highpass.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/wide.h"
#include "dsp/highpass_parts.h"

static double run_section(const struct section *c, struct section_state *s, double x)
{
    const double y = c->b0 * x + s->s1;
    s->s1 = c->b1 * x - c->a1 * y + s->s2;
    s->s2 = c->b2 * x - c->a2 * y;
    return y;
}

/* The state in which a constant input comes out as it is. */
static struct section_state settled(const struct section *c, double x)
{
    return (struct section_state){.s1 = x * (1.0 - c->b0), .s2 = x * (c->b2 - c->a2)};
}

struct tt_highpass *tt_highpass_create(int rate_hz, double cutoff_hz, struct tt_error *err)
{
    if (rate_hz <= 0 || !(cutoff_hz > 0.0) || cutoff_hz > 0.05 * rate_hz) {
        tt_fail(err, TT_ERROR_USAGE, "a rumble filter at %g Hz does not fit a rate of %d Hz", cutoff_hz, rate_hz);
        return NULL;
    }
    struct tt_highpass *filter = calloc(1, sizeof *filter);
    if (!filter) {
        tt_fail_memory(err);
        return NULL;
    }
    highpass_design(filter, rate_hz, cutoff_hz);
    filter->down_taps = calloc(filter->tap_count, sizeof *filter->down_taps);
    filter->up_taps = malloc(4 * filter->step * sizeof *filter->up_taps);
    filter->step_output = malloc(filter->step * sizeof *filter->step_output);
    filter->fifo = calloc(filter->fifo_size + filter->tap_count,
                          sizeof *filter->fifo); /* the taps' zeros may lie behind its end */
    filter->low = calloc(filter->low_count + 1, sizeof *filter->low);
    filter->smooth = calloc(filter->low_count + 1, sizeof *filter->smooth);
    filter->back = calloc(filter->low_count + 1, sizeof *filter->back);
    if (!filter->down_taps || !filter->up_taps || !filter->step_output || !filter->fifo || !filter->low ||
        !filter->smooth || !filter->back) {
        tt_fail_memory(err);
        tt_highpass_destroy(filter);
        return NULL;
    }
    highpass_fill_taps(filter);
    return filter;
}

void tt_highpass_destroy(struct tt_highpass *filter)
{
    if (!filter)
        return;
    free(filter->down_taps);
    free(filter->up_taps);
    free(filter->step_output);
    free(filter->fifo);
    free(filter->low);
    free(filter->smooth);
    free(filter->back);
    free(filter);
}

TT_WIDE static double dot(const float *a, const float *b, size_t count)
{
    tt_lanes sums[2] = {{0}};
    for (size_t i = 0; i < count; i += 2 * TT_LANES) {
        tt_lanes_add_products(&sums[0], a + i, b + i);
        tt_lanes_add_products(&sums[1], a + i + TT_LANES, b + i + TT_LANES);
    }
    sums[0] += sums[1];
    return (double)tt_lanes_sum(&sums[0]);
}

static void decimate(struct tt_highpass *filter)
{
    for (size_t i = filter->low_have; i < filter->low_count; i++) {
        const size_t first = i < SPLINE_REACH ? 0 : (i - SPLINE_REACH) * filter->step;
        filter->low[i] = dot(filter->fifo + first, filter->down_taps, filter->tap_count);
    }
    filter->low_have = filter->low_count;
}

static void run_forward(struct tt_highpass *filter)
{
    const double *low = filter->low, *droop = filter->droop;
    for (size_t i = filter->smooth_have; i < filter->low_count - DROOP_REACH; i++) {
        double x = droop[0] * low[i];
        for (size_t j = 1; j <= DROOP_REACH; j++)
            x += droop[j] * (low[i >= j ? i - j : 0] + low[i + j]);
        if (!filter->has_settled) {
            for (int s = 0; s < ORDER / 2; s++)
                filter->states[s] = settled(&filter->sections[s], x);
            filter->has_settled = true;
        }
        for (int s = 0; s < ORDER / 2; s++)
            x = run_section(&filter->sections[s], &filter->states[s], x);
        filter->smooth[i] = x;
    }
    filter->smooth_have = filter->low_count - DROOP_REACH;
}

static void run_backward(struct tt_highpass *filter)
{
    struct section_state states[ORDER / 2];
    const size_t end = filter->low_count - DROOP_REACH;
    for (int s = 0; s < ORDER / 2; s++)
        states[s] = settled(&filter->sections[s], filter->smooth[end - 1]);
    for (size_t i = end; i-- > 0;) {
        double x = filter->smooth[i];
        for (int s = 0; s < ORDER / 2; s++)
            x = run_section(&filter->sections[s], &states[s], x);
        filter->back[i] = x;
    }
}

/* Takes the low part off one step of the block. */
TT_WIDE static void take_off(const struct tt_highpass *filter, size_t b, float *out)
{
    const size_t step = filter->step;
    const float *row0 = filter->up_taps, *row1 = row0 + step, *row2 = row1 + step, *row3 = row2 + step;
    const double *low = filter->back + b + SPLINE_REACH - 1;
    const float w0 = (float)low[0], w1 = (float)low[1], w2 = (float)low[2], w3 = (float)low[3];
    const float *in = filter->fifo + (b + SPLINE_REACH) * step;
    for (size_t i = 0; i < step; i++)
        out[i] = in[i] - ((w0 * row0[i] + w1 * row1[i]) + (w2 * row2[i] + w3 * row3[i]));
}

/* Moves on by one block: fifo and low-rate rows keep their alignment. */
static void move_on(struct tt_highpass *filter)
{
    const size_t block = filter->block_low * filter->step, low = filter->block_low;
    memmove(filter->fifo, filter->fifo + block, (filter->fifo_count - block) * sizeof *filter->fifo);
    filter->fifo_count -= block;
    memmove(filter->low, filter->low + low, (filter->low_count - low) * sizeof *filter->low);
    memmove(filter->smooth, filter->smooth + low, (filter->low_count - low) * sizeof *filter->smooth);
    filter->low_have -= low;
    filter->smooth_have -= low;
}

/* The place in 0..count-1 that a position before or behind them is a mirror image of. */
static size_t mirrored(int64_t position, size_t count)
{
    if (count < 2)
        return 0;
    const int64_t period = 2 * ((int64_t)count - 1);
    position %= period;
    if (position < 0)
        position += period;
    return (size_t)(position < (int64_t)count ? position : period - position);
}

/* Mirrored, a take begins and ends without a step, whatever its offset. */
static void mirror_lead(struct tt_highpass *filter)
{
    const size_t count = filter->fifo_count - filter->lead;
    for (size_t i = 0; i < filter->lead; i++)
        filter->fifo[i] = filter->fifo[filter->lead + mirrored((int64_t)i - (int64_t)filter->lead, count)];
    filter->has_lead = true;
}

/* One block; returns how many samples went out. */
static size_t do_block(struct tt_highpass *filter, float *output)
{
    size_t written = 0;
    decimate(filter);
    run_forward(filter);
    run_backward(filter);
    for (size_t b = 0; b < filter->block_low; b++) {
        if (filter->drop == 0 && filter->owed >= filter->step) { /* all but the first and the last: without a copy */
            take_off(filter, b, output + written);
            written += filter->step;
            filter->owed -= filter->step;
            continue;
        }
        take_off(filter, b, filter->step_output);
        const size_t skip = filter->drop < filter->step ? filter->drop : filter->step;
        filter->drop -= skip;
        size_t count = filter->step - skip;
        if (count > filter->owed)
            count = (size_t)filter->owed;
        memcpy(output + written, filter->step_output + skip, count * sizeof *output);
        written += count;
        filter->owed -= count;
    }
    move_on(filter);
    return written;
}

size_t tt_highpass_run(struct tt_highpass *filter, const float *samples, size_t count, float *output)
{
    size_t written = 0;
    while (count > 0) {
        const size_t wanted = filter->has_lead ? filter->span : filter->fifo_size;
        const size_t room = wanted - filter->fifo_count;
        const size_t taken = count < room ? count : room;
        memcpy(filter->fifo + filter->fifo_count, samples, taken * sizeof *samples);
        filter->fifo_count += taken;
        filter->owed += taken;
        samples += taken;
        count -= taken;
        if (filter->fifo_count < wanted)
            break;
        if (!filter->has_lead)
            mirror_lead(filter);
        while (filter->fifo_count >= filter->span)
            written += do_block(filter, output + written);
    }
    return written;
}

size_t tt_highpass_finish(struct tt_highpass *filter, float *output)
{
    size_t written = 0;
    if (filter->owed == 0)
        return 0;
    if (!filter->has_lead)
        mirror_lead(filter);
    while (filter->owed > 0) {
        const size_t count = filter->fifo_count;
        for (size_t i = count; i < filter->span; i++)
            filter->fifo[i] = filter->fifo[mirrored((int64_t)i, count)];
        if (count < filter->span)
            filter->fifo_count = filter->span;
        written += do_block(filter, output + written);
    }
    return written;
}

size_t tt_highpass_block(const struct tt_highpass *filter) { return filter->block_low * filter->step; }

size_t tt_highpass_latency(const struct tt_highpass *filter) { return filter->fifo_size; }
