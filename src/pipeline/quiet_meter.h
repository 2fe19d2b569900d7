/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The level of what is left between the lines of a finished voice, plain and A-weighted. */
#ifndef TT_PIPELINE_QUIET_METER_H
#define TT_PIPELINE_QUIET_METER_H

#include <stddef.h>

#include "base/fail.h"

#include "dsp/room_match.h" /* struct tt_span_samples */

struct tt_quiet_meter;
/* spans: rising, in samples of the stream; borrowed. */
struct tt_quiet_meter *tt_quiet_meter_create(int rate_hz, const struct tt_span_samples *spans, size_t count,
                                             struct tt_error *err);
void tt_quiet_meter_add(struct tt_quiet_meter *meter, const float *samples, size_t count);
/* -INFINITY for digital silence, NAN where no span was long enough for one STFT window. */
void tt_quiet_meter_result(const struct tt_quiet_meter *meter, double *dbfs, double *dba);
/* The same by one-third-octave band (dsp/third_octaves.h), mean squares; NAN where it is not known. meter may be NULL.
 */
void tt_quiet_meter_thirds(const struct tt_quiet_meter *meter, double *thirds);
void tt_quiet_meter_destroy(struct tt_quiet_meter *meter);

#endif
