/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How a gain comes about:
 * 1. The prior SNR of each bin is followed by decision-directed smoothing (Ephraim & Malah 1984) forwards in time, and
 *    backwards from a little ahead; the larger counts. So onsets open before they come, tails close after they went.
 * 2. Whether a voice is in the neighbourhood (some 130 ms by 600 Hz) is told from the mean posterior SNR there. Where
 * there is none, small priors are made smaller: what is left of noise is even.
 * 3. While a voice speaks at all (the mean over the whole of its range), bins about as strong as the noise get at least
 * a prior from their own surroundings (27 ms by 140 Hz): decision-directed smoothing holds such bins for noise, and
 * turned them down by 3 to 6 dB more than their mean log power over a clean recording's calls for.
 * 4. The log-spectral-amplitude rule (Ephraim & Malah 1985), at least the depth. */
#include "dsp/gate_gain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/large.h"
#include "base/units.h"
#include "dsp/fast_math.h"
#include "dsp/gate_voice.h"
#include "dsp/lsa_fit.h"

/* All measured on read speech with made noise at 10 to 50 dB SNR: segmental SNR, log-spectral distance, STOI, kurtosis.
 */
static const float SMOOTHING = 0.983F; /* decision-directed, for a hop of 5.3 ms */
static const float EVEN_PRIOR = 6.0F;  /* priors well under this are noise where no voice is near */
static const float LOCAL_OVER = 1.1F;  /* noise of 1, and a tenth that the floor may be wrong by */
/* What a bin's surroundings may give it beside a weak voice, -1.5 dB, and a strong one, 3 dB: the weaker the voice, the
 * more the noise let through counts against what is kept of it. */
static const float LOCAL_MOST = 0.7F, LOCAL_MOST_STRONG = 1.9F;
/* ... and what they give at least, -7 dB; no more than so many times the power that is left of noise: under words the
 * residue stands some 7 dB over that in pauses, where the voice covers it. */
static const float LOCAL_LEAST = 0.2F;
static const float LOCAL_LEAST_OF_RESIDUE = 6.5F;
static const float GAMMA_LEAST = 1e-6F, GAMMA_MOST = 1e8F;
static const float PRIOR_LEAST = 0.003F; /* -25 dB, Ephraim & Malah 1984 */

enum { LOCAL_REACH = 3, LOCAL_BINS = 2, GAMMA_ROWS = LOCAL_REACH + TT_GATE_ROWS };
/* Hann weights by distance in frames and in bins. */
static const float LOCAL_WEIGHTS[LOCAL_REACH + 1] = {0.25F, 0.21338835F, 0.125F, 0.03661165F};
static const float LOCAL_BIN_WEIGHTS[LOCAL_BINS + 1] = {1.0F / 3.0F, 0.25F, 1.0F / 12.0F};

struct tt_gate_gain {
    int bins, row; /* row: floats from one row to the next */
    struct tt_gate_voice *voice;
    float power_scale; /* as in tt_stft_powers */
    float *per_floor;  /* posterior SNR of a spectrum's square */
    float least;       /* gain of pure noise */
    float keep_faint;  /* factor on the signal's side */
    float prior_least, local_least;
    int count;                    /* frames there */
    float *gammas, *forwards;     /* all rows */
    float *gamma[GAMMA_ROWS];     /* LOCAL_REACH rows of the past, then TT_GATE_ROWS */
    float *forward[TT_GATE_ROWS]; /* prior from the past */
    float *speech;                /* power of the voice over the floor as of the newest frame, forwards */
    float *ahead;                 /* the same, backwards */
    float *around;                /* of one frame, with LOCAL_BINS more at each end */
    float *prior, *gain;
};

int tt_gate_gain_row(struct tt_stft_shape shape) { return (shape.bin_count + TT_LANES - 1) / TT_LANES * TT_LANES; }

static float *new_rows(int rows, int length) { return tt_alloc_lines((size_t)rows * (size_t)length * sizeof(float)); }

static bool allocate(struct tt_gate_gain *decision)
{
    const int bins = decision->bins, row = decision->row;
    decision->per_floor = new_rows(1, bins);
    decision->gammas = new_rows(GAMMA_ROWS, row);
    decision->forwards = new_rows(TT_GATE_ROWS, row);
    decision->speech = new_rows(1, bins);
    decision->ahead = new_rows(1, bins);
    decision->around = new_rows(1, bins + 2 * LOCAL_BINS);
    decision->prior = new_rows(1, bins);
    decision->gain = new_rows(1, bins);
    for (int r = 0; decision->gammas && r < GAMMA_ROWS; r++)
        decision->gamma[r] = decision->gammas + r * row;
    for (int r = 0; decision->forwards && r < TT_GATE_ROWS; r++)
        decision->forward[r] = decision->forwards + r * row;
    return decision->per_floor && decision->gammas && decision->forwards && decision->speech && decision->ahead &&
           decision->around && decision->prior && decision->gain;
}

struct tt_gate_gain *tt_gate_gain_create(struct tt_stft_shape shape, struct tt_gate_settings settings,
                                         struct tt_error *err)
{
    struct tt_gate_gain *decision = calloc(1, sizeof *decision);
    if (!decision) {
        tt_fail_memory(err);
        return NULL;
    }
    decision->bins = shape.bin_count;
    decision->row = tt_gate_gain_row(shape);
    decision->power_scale = 2.0F / (float)shape.window_samples;
    decision->least = (float)tt_amplitude_from_db(-settings.depth_db);
    decision->keep_faint = (float)tt_power_from_db(settings.keep_faint_db);
    /* At the least prior the rule leaves some 0.56 of it as power; that must not be heard beside what the depth leaves.
     */
    const float under_depth = 0.1F * decision->least * decision->least;
    decision->prior_least = under_depth < PRIOR_LEAST ? under_depth : PRIOR_LEAST;
    const float of_residue = LOCAL_LEAST_OF_RESIDUE * decision->least * decision->least;
    decision->local_least = of_residue < LOCAL_LEAST ? of_residue : LOCAL_LEAST;
    decision->voice = tt_gate_voice_create(shape, decision->keep_faint, err);
    if (!decision->voice || !allocate(decision)) {
        tt_fail_memory(err);
        tt_gate_gain_destroy(decision);
        return NULL;
    }
    return decision;
}

void tt_gate_gain_destroy(struct tt_gate_gain *decision)
{
    if (!decision)
        return;
    tt_gate_voice_destroy(decision->voice);
    free(decision->per_floor);
    free(decision->gammas);
    free(decision->forwards);
    free(decision->speech);
    free(decision->ahead);
    free(decision->around);
    free(decision->prior);
    free(decision->gain);
    free(decision);
}

void tt_gate_gain_restart(struct tt_gate_gain *decision)
{
    const size_t row = (size_t)decision->bins * sizeof(float);
    tt_gate_voice_restart(decision->voice);
    for (int r = 0; r < LOCAL_REACH; r++)
        memset(decision->gamma[r], 0, row);
    memset(decision->speech, 0, row);
    decision->count = 0;
}

/* Voice power that the rule makes of a prior: gain squared times gamma. */
static inline float voice_power(float share, float v, float per_below, float gamma)
{
    const float power = share * tt_lsa_above(v) * per_below;
    return power < gamma ? power : gamma;
}

/* One step of decision-directed smoothing: the prior from the neighbour's voice power and the bin's own excess, and the
 * voice power of that. Bins of the lower half go with those of the upper one: two quotients of one division, which is
 * what a step waits for. */
TT_WIDE static void step_prior(const float *restrict gamma, float *restrict speech, float *restrict prior,
                               float prior_least, int bins)
{
    const float smoothing = SMOOTHING, fresh = 1.0F - SMOOTHING;
    const int half = bins / 2;
    for (int i = 0; i < bins; i++) {
        const float over = gamma[i] > 1.0F ? gamma[i] - 1.0F : 0.0F;
        const float xi = smoothing * speech[i] + fresh * over;
        prior[i] = xi > prior_least ? xi : prior_least;
    }
    for (int low = 0, high = half; low < half; low++, high++) {
        const float low_whole = 1.0F + prior[low], high_whole = 1.0F + prior[high];
        const float per_wholes = 1.0F / (low_whole * high_whole);
        const float low_share = prior[low] * (high_whole * per_wholes),
                    high_share = prior[high] * (low_whole * per_wholes);
        const float low_v = low_share * gamma[low], high_v = high_share * gamma[high];
        const float low_below = tt_lsa_below(low_v), high_below = tt_lsa_below(high_v);
        const float per_belows = 1.0F / (low_below * high_below);
        speech[low] = voice_power(low_share, low_v, high_below * per_belows, gamma[low]);
        speech[high] = voice_power(high_share, high_v, low_below * per_belows, gamma[high]);
    }
    for (int i = 2 * half; i < bins; i++) { /* half the rate stands alone */
        const float share = prior[i] / (1.0F + prior[i]), v = share * gamma[i];
        speech[i] = voice_power(share, v, 1.0F / tt_lsa_below(v), gamma[i]);
    }
}

void tt_gate_gain_set_floor(struct tt_gate_gain *decision, const float *floor)
{
    for (int i = 0; i < decision->bins; i++)
        decision->per_floor[i] = decision->power_scale / floor[i];
}

TT_WIDE static void find_gamma(const float *re, const float *im, const float *per_floor, float *gamma, int bins)
{
    for (int i = 0; i < bins; i++) {
        const float ratio = (re[i] * re[i] + im[i] * im[i]) * per_floor[i] + GAMMA_LEAST;
        gamma[i] = ratio < GAMMA_MOST ? ratio : GAMMA_MOST;
    }
}

bool tt_gate_gain_add(struct tt_gate_gain *decision, const float *spectrum)
{
    const int bins = decision->bins, at = decision->count++;
    float *gamma = decision->gamma[LOCAL_REACH + at];
    find_gamma(spectrum, spectrum + decision->row, decision->per_floor, gamma, bins);
    tt_gate_voice_add(decision->voice, at, gamma);
    step_prior(gamma, decision->speech, decision->forward[at], decision->prior_least, bins);
    return decision->count == TT_GATE_ROWS;
}

/* Mean posterior SNR in the LOCAL_REACH frames around the one in row at; the neighbours in frequency are for
 * join_priors. */
TT_WIDE static void find_around(struct tt_gate_gain *decision, int at)
{
    const int bins = decision->bins;
    float *const *rows = decision->gamma + LOCAL_REACH + at;
    const float *g0 = rows[0], *a1 = rows[-1], *a2 = rows[-2], *a3 = rows[-3], *b1 = rows[1], *b2 = rows[2],
                *b3 = rows[3];
    float *around = decision->around + LOCAL_BINS;
    for (int i = 0; i < bins; i++)
        around[i] = LOCAL_WEIGHTS[0] * g0[i] + LOCAL_WEIGHTS[1] * (a1[i] + b1[i]) + LOCAL_WEIGHTS[2] * (a2[i] + b2[i]) +
                    LOCAL_WEIGHTS[3] * (a3[i] + b3[i]);
    for (int i = 1; i <= LOCAL_BINS; i++) {
        around[-i] = around[0];
        around[bins - 1 + i] = around[bins - 1];
    }
}

/* The prior that the rule gets: prior holds the backward one on entry. */
TT_WIDE static void join_priors(struct tt_gate_gain *decision, const float *forward, const float *presence,
                                struct tt_gate_frame frame)
{
    const int bins = decision->bins;
    const float *around = decision->around + LOCAL_BINS, *range = tt_gate_voice_range(decision->voice);
    float *prior = decision->prior;
    const float keep_faint = decision->keep_faint, least = decision->prior_least, local_least = decision->local_least;
    const float voice = frame.chance, most = LOCAL_MOST + (LOCAL_MOST_STRONG - LOCAL_MOST) * frame.strength;
    for (int i = 0; i < bins; i++) {
        const float both = keep_faint * (forward[i] > prior[i] ? forward[i] : prior[i]);
        const float alone = both / (both + EVEN_PRIOR);
        const float voiced = both * (presence[i] + (1.0F - presence[i]) * alone);
        const float over = LOCAL_BIN_WEIGHTS[0] * around[i] + LOCAL_BIN_WEIGHTS[1] * (around[i - 1] + around[i + 1]) +
                           LOCAL_BIN_WEIGHTS[2] * (around[i - 2] + around[i + 2]) - LOCAL_OVER;
        const float risen = over > local_least ? over : local_least;
        const float local = voice * range[i] * (risen < most ? risen : most);
        const float larger = voiced > local ? voiced : local;
        prior[i] = larger > least ? larger : least;
    }
}

static void find_priors(struct tt_gate_gain *decision, int at)
{
    struct tt_gate_frame frame;
    const float *presence = tt_gate_voice_find(decision->voice, at, &frame);
    find_around(decision, at);
    join_priors(decision, decision->forward[at], presence, frame);
}

/* The first TT_GATE_BLOCK rows are free, and go behind the others. */
static void rotate(float **rows, size_t count)
{
    float *freed[TT_GATE_BLOCK];
    memcpy(freed, rows, sizeof freed);
    memmove(rows, rows + TT_GATE_BLOCK, (count - TT_GATE_BLOCK) * sizeof *rows);
    memcpy(rows + count - TT_GATE_BLOCK, freed, sizeof freed);
}

static void move_on(struct tt_gate_gain *decision)
{
    tt_gate_voice_move_on(decision->voice);
    rotate(decision->gamma, GAMMA_ROWS);
    rotate(decision->forward, TT_GATE_ROWS);
    decision->count = TT_GATE_AHEAD;
}

TT_WIDE static void turn_down(float *re, float *im, const float *gain, float least, int bins)
{
    for (int i = 0; i < bins; i++) {
        const float bounded = gain[i] > least ? gain[i] : least;
        re[i] *= bounded;
        im[i] *= bounded;
    }
}

void tt_gate_gain_run(struct tt_gate_gain *decision, float *const *spectra)
{
    const int bins = decision->bins;
    int first = 0;
    while (first < TT_GATE_BLOCK && !spectra[first])
        first++;
    /* Backwards from what the forward run knows of the last frame: of a steady sound that is right at once. */
    memcpy(decision->ahead, decision->speech, (size_t)bins * sizeof(float));
    for (int at = TT_GATE_ROWS - 1; at >= first && first < TT_GATE_BLOCK; at--) {
        const float *gamma = decision->gamma[LOCAL_REACH + at];
        step_prior(gamma, decision->ahead, decision->prior, decision->prior_least, bins);
        if (at >= TT_GATE_BLOCK || !spectra[at])
            continue;
        find_priors(decision, at);
        tt_lsa_gains(decision->prior, gamma, decision->gain, bins);
        turn_down(spectra[at], spectra[at] + decision->row, decision->gain, decision->least, bins);
    }
    move_on(decision);
}
