/* SPDX-License-Identifier: GPL-2.0-or-later */
/* True-peak limiter with look-ahead: does nothing where no peak passes the ceiling. */
#ifndef TT_DSP_LIMITER_H
#define TT_DSP_LIMITER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"

/* The highest true peak of a stream, found by 16 times oversampling only where it can matter. Linear. */
struct tt_true_peak;
struct tt_true_peak *tt_true_peak_create(int rate_hz, struct tt_error *err);
void tt_true_peak_add(struct tt_true_peak *peak, const float *samples, size_t count);
double tt_true_peak_result(struct tt_true_peak *peak); /* flushes; call once at the end */
void tt_true_peak_destroy(struct tt_true_peak *peak);

struct tt_limiter;
/* Samples are multiplied by gain first (linear, in single precision), then kept under ceiling (linear, true peak by a 16 times
 * meter) with 0.02 dB to spare. */
struct tt_limiter *tt_limiter_create(int rate_hz, double gain, double ceiling, struct tt_error *err);
void tt_limiter_destroy(struct tt_limiter *limiter);
/* Streams as tt_highpass_run does: output sample n belongs to input sample n. Where it does nothing, output is
 * exactly samples * (float)gain. */
size_t tt_limiter_run(struct tt_limiter *limiter, const float *samples, size_t count, float *output);
size_t tt_limiter_finish(struct tt_limiter *limiter, float *output);
size_t tt_limiter_latency(const struct tt_limiter *limiter);
/* The most that was taken off so far, dB >= 0. */
double tt_limiter_most_db(const struct tt_limiter *limiter);

#endif
