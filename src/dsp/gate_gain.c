/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/gate_gain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "dsp/fast_math.h"

enum { ROWS = TT_GATE_AHEAD + 1, HOLD = 3 };
static const float SMOOTHING = 0.985F;    /* decision-directed, at a hop of 5.3 ms (measured: no musical noise) */
static const float PRIOR_LEAST = 0.003F;  /* -25 dB, Ephraim & Malah 1984 */
static const float OPTIMAL_PRIOR = 31.6228F; /* 15 dB, Gerkmann & Hendriks 2012 */
static const float MOST = 1e8F;

struct tt_gate_gain {
    int bins, newest;
    float log2_least, least, keep_faint;
    float *xi, *gamma, *gain, *before; /* rows of one frame */
    float *rows;                       /* gains of the last ROWS frames */
    float *result;
};

struct tt_gate_gain *tt_gate_gain_create(struct tt_stft_shape shape, struct tt_gate_settings settings, struct tt_error *err)
{
    struct tt_gate_gain *decision = calloc(1, sizeof *decision);
    if (!decision) {
        tt_fail_memory(err);
        return NULL;
    }
    const size_t bins = (size_t)shape.bin_count;
    decision->bins = shape.bin_count;
    decision->log2_least = (float)log2(tt_amplitude_from_db(-settings.depth_db));
    decision->least = (float)tt_amplitude_from_db(-settings.depth_db);
    decision->keep_faint = (float)tt_power_from_db(settings.keep_faint_db);
    decision->xi = calloc(bins, sizeof(float));
    decision->gamma = calloc(bins, sizeof(float));
    decision->gain = calloc(bins, sizeof(float));
    decision->before = calloc(bins, sizeof(float));
    decision->rows = calloc(ROWS * bins, sizeof(float));
    decision->result = calloc(bins, sizeof(float));
    if (!decision->xi || !decision->gamma || !decision->gain || !decision->before || !decision->rows || !decision->result) {
        tt_fail_memory(err);
        tt_gate_gain_destroy(decision);
        return NULL;
    }
    return decision;
}

void tt_gate_gain_destroy(struct tt_gate_gain *decision)
{
    if (!decision) return;
    free(decision->xi);
    free(decision->gamma);
    free(decision->gain);
    free(decision->before);
    free(decision->rows);
    free(decision->result);
    free(decision);
}

void tt_gate_gain_add(struct tt_gate_gain *decision, const float *power, const float *floor)
{
    const int bins = decision->bins;
    float *xi = decision->xi, *gamma = decision->gamma, *before = decision->before, *gain = decision->gain;
    for (int i = 0; i < bins; i++) {
        const float ratio = power[i] * decision->keep_faint / floor[i] + 1e-6F;
        gamma[i] = ratio < MOST ? ratio : MOST;
        const float over = gamma[i] > 1.0F ? gamma[i] - 1.0F : 0.0F;
        const float prior = SMOOTHING * before[i] + (1.0F - SMOOTHING) * over;
        xi[i] = prior > PRIOR_LEAST ? prior : PRIOR_LEAST;
    }
    tt_lsa_gains(xi, gamma, gain, bins);
    decision->newest = (decision->newest + 1) % ROWS;
    float *row = decision->rows + (size_t)decision->newest * (size_t)bins;
    const float least = decision->log2_least, linear_least = decision->least;
    for (int i = 0; i < bins; i++) {
        before[i] = gain[i] * gain[i] * gamma[i];
        const float share = OPTIMAL_PRIOR / (1.0F + OPTIMAL_PRIOR);
        const float power_of_e = -1.44269504F * share * (gamma[i] < 50.0F ? gamma[i] : 50.0F);
        const float presence = 1.0F / (1.0F + (1.0F + OPTIMAL_PRIOR) * tt_fast_exp2(power_of_e));
        const float level = presence * tt_fast_log2(gain[i] + 1e-6F) + (1.0F - presence) * least;
        row[i] = level > least ? tt_fast_exp2(level) : linear_least;
    }
    const int wanted = decision->newest + ROWS - TT_GATE_AHEAD;
    memcpy(decision->result, decision->rows + (size_t)(wanted % ROWS) * (size_t)bins, (size_t)bins * sizeof(float));
    for (int ahead = 1; ahead <= HOLD; ahead++) {
        const float *next = decision->rows + (size_t)((wanted + ahead) % ROWS) * (size_t)bins;
        for (int i = 0; i < bins; i++) decision->result[i] = decision->result[i] > next[i] ? decision->result[i] : next[i];
    }
}

const float *tt_gate_gain_row(const struct tt_gate_gain *decision) { return decision->result; }
