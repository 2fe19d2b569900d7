/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Noise turned down by a log-spectral-amplitude gain with speech presence, streaming, without delay in the reading. */
#ifndef TT_DSP_GATE_H
#define TT_DSP_GATE_H

#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/span.h"
#include "dsp/floor_track.h"

/* Ephraim & Malah 1985: gain from prior SNR xi and posterior SNR gamma (power ratios). Exact (expint), for tests and
 * tables. */
double tt_lsa_gain(double xi, double gamma);
/* Speech presence probability of Gerkmann & Hendriks 2012, prior 0.5, given xi_opt (power ratio). */
double tt_speech_presence(double xi_opt, double gamma);
/* The vectorisable approximation used in the chain, count values at once; stated error < 0.01 dB for xi in -30..40 dB.
 * Clamped to 1. */
void tt_lsa_gains(const float *xi, const float *gamma, float *gain, int count);

struct tt_gate_settings {
    double depth_db;      /* what happens to pure noise; 0: gain 1 everywhere */
    double keep_faint_db; /* added to the signal's side in the decision */
};
struct tt_gate;
/* track is borrowed for the gate's life. */
struct tt_gate *tt_gate_create(const struct tt_floor_track *track, struct tt_gate_settings settings,
                               struct tt_error *err);
void tt_gate_destroy(struct tt_gate *gate);
/* Forgets what was before. The first sample that comes is not the take's first: a multiple of TT_GATE_GRID_HOPS hops,
 * so that blocks lie as they would. */
enum { TT_GATE_GRID_HOPS = 48 };
void tt_gate_start_at(struct tt_gate *gate, int64_t sample);
/* What will be used of the output, rising; borrowed. Elsewhere it may be anything, and costs a third. */
void tt_gate_want(struct tt_gate *gate, const struct tt_span_samples *spans, size_t count);
/* Streams as tt_highpass_run does: output sample n belongs to input sample n. output holds count + tt_gate_latency
 * samples. */
size_t tt_gate_run(struct tt_gate *gate, const float *samples, size_t count, float *output);
size_t tt_gate_finish(struct tt_gate *gate, float *output);
size_t tt_gate_latency(const struct tt_gate *gate);

#endif
