/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The noise power by bin, followed over time: nodes at sample positions, interpolated in dB between them, held beyond
 * the ends. */
#ifndef TT_DSP_FLOOR_TRACK_H
#define TT_DSP_FLOOR_TRACK_H

#include <stdbool.h>
#include <stdint.h>

#include "base/fail.h"
#include "dsp/stft.h"

struct tt_floor_track {
    struct tt_stft_shape shape;
    int node_count;
    int64_t *node_sample; /* rising */
    float *power;         /* node_count rows of shape.bin_count, scaled as tt_stft_powers; > 0 */
};
/* Noise power at a sample position into power[bin_count]. Needs one node at least. */
void tt_floor_at(const struct tt_floor_track *track, int64_t sample, float *power);
/* Total noise power (mean square) of a row, and the same A-weighted (IEC 61672-1). */
double tt_floor_mean_square(const struct tt_floor_track *track, const float *power);
double tt_floor_mean_square_a(const struct tt_floor_track *track, const float *power);
/* One node: the noise at a sample position, for samples at another rate. */
bool tt_floor_track_at_rate(const struct tt_floor_track *track, int64_t sample, int rate_hz, struct tt_floor_track *out,
                            struct tt_error *err);
void tt_floor_track_free(struct tt_floor_track *track); /* frees members, zeroes it */

/* A-weighting in dB at a frequency (IEC 61672-1, annex E formula; 0 dB at 1 kHz). */
double tt_a_weight_db(double frequency_hz);

/* ---- estimation, streaming ---- */

/* Frames come in order with their power spectrum and whether a voice or another event is in them. Digital silence never
 * counts. Windows of window_s; a window without enough quiet frames leans on its neighbours, and on low quantiles by
 * bin when no window has any. A change of the room within a window puts two nodes close together. */
struct tt_floor_estimator;
struct tt_floor_estimator *tt_floor_estimator_create(struct tt_stft_shape shape, double window_s, struct tt_error *err);
/* sample: the frame's centre, rising; power: bin_count values as tt_stft_powers gives them. */
bool tt_floor_estimator_add(struct tt_floor_estimator *estimator, int64_t sample, const float *power, bool is_quiet,
                            struct tt_error *err);
/* Fills *track (one node at least, also for a take without any quiet frame). */
bool tt_floor_estimator_finish(struct tt_floor_estimator *estimator, struct tt_floor_track *track,
                               struct tt_error *err);
void tt_floor_estimator_destroy(struct tt_floor_estimator *estimator);

#endif
