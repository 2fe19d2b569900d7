/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rumble filter without phase: a 4th-order Butterworth high-pass run forwards and backwards over fixed blocks with
 * look-ahead. -3 dB at cutoff_hz in all, so that nothing above 1.5 * cutoff_hz changes by more than 0.25 dB, and no
 * delay in the reading. */
#ifndef TT_DSP_HIGHPASS_H
#define TT_DSP_HIGHPASS_H

#include <stddef.h>

#include "base/fail.h"

struct tt_highpass;
struct tt_highpass *tt_highpass_create(int rate_hz, double cutoff_hz, struct tt_error *err);
void tt_highpass_destroy(struct tt_highpass *filter);
/* Streams: takes any count, appends what is ready to output (which holds count + tt_highpass_latency samples) and
 * returns its count. Output sample n belongs to input sample n; finish returns the rest, so that the total equals the
 * input's count. */
size_t tt_highpass_run(struct tt_highpass *filter, const float *samples, size_t count, float *output);
size_t tt_highpass_finish(struct tt_highpass *filter, float *output);
/* Its blocks begin at multiples of this many samples. */
size_t tt_highpass_block(const struct tt_highpass *filter);
size_t tt_highpass_latency(const struct tt_highpass *filter);

#endif
