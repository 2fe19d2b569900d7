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
double tt_true_peak_result(struct tt_true_peak *peak);           /* flushes; call once at the end */
double tt_true_peak_of_samples(const struct tt_true_peak *peak); /* the highest sample itself; behind the above */
void tt_true_peak_destroy(struct tt_true_peak *peak);

struct tt_limiter;
/* Samples are multiplied by gain first (linear, in single precision), then kept under ceiling (linear, true peak by a
 * 16 times meter) with 0.02 dB to spare. */
struct tt_limiter *tt_limiter_create(int rate_hz, double gain, double ceiling, struct tt_error *err);
void tt_limiter_destroy(struct tt_limiter *limiter);
/* Streams as tt_highpass_run does: output sample n belongs to input sample n. Where it does nothing, output is
 * exactly samples * (float)gain. */
size_t tt_limiter_run(struct tt_limiter *limiter, const float *samples, size_t count, float *output);
size_t tt_limiter_finish(struct tt_limiter *limiter, float *output);
size_t tt_limiter_latency(const struct tt_limiter *limiter);
/* The most that was taken off so far, dB >= 0. */
double tt_limiter_most_db(const struct tt_limiter *limiter);
/* How far the highest true peak that came in (gain included) stood over the ceiling, dB; 0 where none did. Within 0.001
 * dB. */
double tt_limiter_over_db(const struct tt_limiter *limiter);

/* All that a limiter's gain follows from: what the place between two samples demanded of one of the passes. */
enum { TT_LIMITER_PASSES = 2 };
struct tt_limiter_demand {
    int64_t place;     /* right of this sample of the stream; a little before its first, too */
    int32_t reduction; /* 1 - gain, in units of TT_REDUCTION_BITS */
    int32_t pass;
};
typedef void (*tt_limiter_told)(void *context, const struct tt_limiter_demand *demand);
/* told is called for each demand, of one pass in order of places, before the sample at that place comes out. */
void tt_limiter_tell(struct tt_limiter *limiter, tt_limiter_told told, void *context);

/* Takes back what a limiter did: from its output and its demands to what went in, gain included. */
struct tt_limiter_undo;
/* Fills *demand with the next one of a pass; false when there is none left. */
typedef bool (*tt_limiter_next)(void *context, int pass, struct tt_limiter_demand *demand);
struct tt_limiter_undo *tt_limiter_undo_create(int rate_hz, tt_limiter_next next, void *context, struct tt_error *err);
void tt_limiter_undo_run(struct tt_limiter_undo *undo, float *samples, size_t count); /* in place */
void tt_limiter_undo_destroy(struct tt_limiter_undo *undo);

#endif
