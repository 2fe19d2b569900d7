/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Loudness and level of one channel of sound, streaming (ITU-R BS.1770-5, EBU Tech 3341 and 3342). */
#ifndef TT_DSP_METER_H
#define TT_DSP_METER_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

/* -INFINITY where nothing passed a gate or the file is too short for the window; NAN for range without a value. */
struct tt_levels {
    double duration_s;
    double integrated_lufs;
    double loudness_range_lu;
    double max_momentary_lufs;  /* 400 ms, 10 ms hop or finer (Tech 3341 case 13 fails at 100 ms) */
    double max_short_term_lufs; /* 3 s */
    double max_true_peak_dbtp;  /* also of what rings past the end */
    double sample_peak_dbfs;
    double rms_dbfs; /* of everything, re full scale 1.0 (a full-scale sine reads -3.01) */
};

struct tt_meter;
/* channel_weight: 1 for mono, 2 where the same sound will be in two channels (dual, +3.01 LU). */
struct tt_meter *tt_meter_create(int rate_hz, double channel_weight, struct tt_error *err);
bool tt_meter_add(struct tt_meter *meter, const float *samples, size_t count, struct tt_error *err);
struct tt_levels tt_meter_result(struct tt_meter *meter);
void tt_meter_destroy(struct tt_meter *meter);

/* Mean K-weighted power of each whole 100 ms step so far, borrowed until the next call; loudness of a run of them is
 * -0.691 + 10 log10(mean) (+ the channel weight). */
const float *tt_meter_steps(const struct tt_meter *meter, size_t *count);

/* Several channels (the standards' five-channel signals, measure of stereo files): one K-weighted sum. weights[c] as in
 * BS.1770 Table 3. */
struct tt_meter *tt_meter_create_channels(int rate_hz, const double *weights, int channel_count, struct tt_error *err);
/* Interleaved frames, for a meter of several channels. */
bool tt_meter_add_frames(struct tt_meter *meter, const float *interleaved, size_t frame_count, struct tt_error *err);

#endif
