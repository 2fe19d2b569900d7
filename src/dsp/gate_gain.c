/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How a gain comes about:
 * 1. The prior SNR of each bin is followed by decision-directed smoothing (Ephraim & Malah 1984) forwards in time, and
 *    backwards from a little ahead; the larger counts. So onsets open before they come, tails close after they went.
 * 2. Whether a voice is in the neighbourhood (some 130 ms by 600 Hz) is told from the mean posterior SNR there. Where there is
 *    none, small priors are made smaller: what is left of noise is even. Where there is one, bins that are about as strong as
 *    the noise get a prior from their own surroundings, because decision-directed smoothing turns such bins down too far.
 * 3. The log-spectral-amplitude rule (Ephraim & Malah 1985), at least the depth. */
#include "dsp/gate_gain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "dsp/fast_math.h"

/* All measured on read speech with made noise at 10 to 50 dB SNR: segmental SNR, log-spectral distance, STOI, kurtosis. */
static const float SMOOTHING = 0.983F;     /* decision-directed, for a hop of 5.3 ms */
static const float REGION_LEVEL = 1.8F;    /* mean posterior SNR at which a voice is as likely as not */
static const float PRESENCE_LEAST = 0.3F;  /* a chance under this is none */
static const float EVEN_PRIOR = 6.0F;      /* priors well under this are noise where no voice is near */
static const float LOCAL_OVER = 1.2F;      /* noise of 1, and a fifth that the floor may be wrong by */
static const float LOCAL_LEAST = 0.4F;     /* what a bin's surroundings give it beside a voice, -4 dB ... */
static const float LOCAL_MOST = 0.8F;      /* ... to -1 dB */
static const float GAMMA_LEAST = 1e-6F, GAMMA_MOST = 1e8F;
static const float REGION_GAMMA_MOST = 20.0F; /* so that a single line does not make a neighbourhood */
static const float PRIOR_LEAST = 0.003F;      /* -25 dB, Ephraim & Malah 1984 */

enum { REGION_REACH = 12, LOCAL_REACH = 2, BAND_BINS = 4, BAND_LANES = 16 };
/* Hann weights by distance in frames. */
static const float LOCAL_WEIGHTS[LOCAL_REACH + 1] = {1.0F / 3.0F, 0.25F, 1.0F / 12.0F};

struct tt_gate_gain {
    int bins, bands;
    int band_room;                     /* bands in a row of region, a multiple of BAND_LANES */
    float least;                       /* gain of pure noise */
    float keep_faint;                  /* factor on the signal's side */
    float prior_least;
    float region_weights[REGION_REACH + 1];
    int count;                         /* frames there */
    float *gamma;                      /* LOCAL_REACH rows of the past, then TT_GATE_ROWS */
    float *forward;                    /* TT_GATE_ROWS rows: prior from the past */
    float *region;                     /* REGION_REACH rows of the past, then TT_GATE_ROWS: sums by band */
    float *speech;                     /* power of the voice over the floor as of the newest frame, forwards */
    float *ahead;                      /* the same, backwards */
    float *near, *presence;            /* of one frame: by band with one more at each end, and by bin */
    float *prior, *gain;
};

static float *new_rows(int rows, int cells) { return calloc((size_t)rows * (size_t)cells, sizeof(float)); }

static bool allocate(struct tt_gate_gain *decision)
{
    const int bins = decision->bins, bands = decision->bands;
    decision->gamma = new_rows(LOCAL_REACH + TT_GATE_ROWS, bins);
    decision->forward = new_rows(TT_GATE_ROWS, bins);
    decision->region = new_rows(REGION_REACH + TT_GATE_ROWS, decision->band_room);
    decision->speech = new_rows(1, bins);
    decision->ahead = new_rows(1, bins);
    decision->near = new_rows(1, decision->band_room + 2);
    decision->presence = new_rows(1, bands * BAND_BINS);
    decision->prior = new_rows(1, bins);
    decision->gain = new_rows(1, bins);
    return decision->gamma && decision->forward && decision->region && decision->speech && decision->ahead && decision->near &&
           decision->presence && decision->prior && decision->gain;
}

/* Hann over 2 * REGION_REACH + 1 frames, with the share of a bin in a band's sum. */
static void fill_region_weights(struct tt_gate_gain *decision)
{
    double sum = 0.0, weights[REGION_REACH + 1];
    for (int i = 0; i <= REGION_REACH; i++) {
        weights[i] = 0.5 + 0.5 * cos(3.14159265358979323846 * i / (REGION_REACH + 1));
        sum += i == 0 ? weights[i] : 2.0 * weights[i];
    }
    for (int i = 0; i <= REGION_REACH; i++) decision->region_weights[i] = (float)(weights[i] / sum / BAND_BINS);
}

struct tt_gate_gain *tt_gate_gain_create(struct tt_stft_shape shape, struct tt_gate_settings settings, struct tt_error *err)
{
    struct tt_gate_gain *decision = calloc(1, sizeof *decision);
    if (!decision) {
        tt_fail_memory(err);
        return NULL;
    }
    decision->bins = shape.bin_count;
    decision->bands = (shape.bin_count + BAND_BINS - 1) / BAND_BINS;
    decision->band_room = (decision->bands + BAND_LANES - 1) / BAND_LANES * BAND_LANES;
    decision->least = (float)tt_amplitude_from_db(-settings.depth_db);
    decision->keep_faint = (float)tt_power_from_db(settings.keep_faint_db);
    /* At the least prior the rule leaves some 0.56 of it as power; that must not be heard beside what the depth leaves. */
    const float under_depth = 0.1F * decision->least * decision->least;
    decision->prior_least = under_depth < PRIOR_LEAST ? under_depth : PRIOR_LEAST;
    fill_region_weights(decision);
    if (!allocate(decision)) {
        tt_fail_memory(err);
        tt_gate_gain_destroy(decision);
        return NULL;
    }
    return decision;
}

void tt_gate_gain_destroy(struct tt_gate_gain *decision)
{
    if (!decision) return;
    free(decision->gamma);
    free(decision->forward);
    free(decision->region);
    free(decision->speech);
    free(decision->ahead);
    free(decision->near);
    free(decision->presence);
    free(decision->prior);
    free(decision->gain);
    free(decision);
}

/* One step of decision-directed smoothing: the prior from the neighbour's voice power and the bin's own excess, and the voice
 * power that the rule makes of it (gain squared times gamma, as tt_lsa_gains computes it). */
TT_WIDE static void step_prior(const float *gamma, float *speech, float *prior, float prior_least, int bins)
{
    const float smoothing = SMOOTHING, fresh = 1.0F - SMOOTHING;
    for (int i = 0; i < bins; i++) {
        const float over = gamma[i] > 1.0F ? gamma[i] - 1.0F : 0.0F;
        const float xi = smoothing * speech[i] + fresh * over;
        prior[i] = xi > prior_least ? xi : prior_least;
    }
    for (int i = 0; i < bins; i++) {
        const float share = prior[i] / (1.0F + prior[i]);
        const float v = share * gamma[i];
        const float above = 0.56102193F + v * (0.84177063F + v * (0.48925835F + v * 0.20916389F));
        const float below = 1.0F + v * (0.47928646F + v * 0.20916389F);
        const float power = share * above / below;
        speech[i] = power < gamma[i] ? power : gamma[i];
    }
}

TT_WIDE static void sum_bands(const struct tt_gate_gain *decision, const float *gamma, float *region)
{
    const int whole = decision->bins / BAND_BINS;
    for (int b = 0; b < whole; b++) {
        float sum = 0.0F;
        for (int i = 0; i < BAND_BINS; i++) {
            const float value = gamma[b * BAND_BINS + i];
            sum += value < REGION_GAMMA_MOST ? value : REGION_GAMMA_MOST;
        }
        region[b] = sum;
    }
    /* Half the rate stands alone: taken for four alike. */
    const int left = decision->bins - whole * BAND_BINS;
    for (int i = 0; i < left; i++) {
        const float value = gamma[whole * BAND_BINS + i];
        region[whole] = (value < REGION_GAMMA_MOST ? value : REGION_GAMMA_MOST) * BAND_BINS;
    }
}

TT_WIDE static void divide_bounded(const float *power, const float *floor, float *gamma, int bins)
{
    for (int i = 0; i < bins; i++) {
        const float ratio = power[i] / floor[i] + GAMMA_LEAST;
        gamma[i] = ratio < GAMMA_MOST ? ratio : GAMMA_MOST;
    }
}

bool tt_gate_gain_add(struct tt_gate_gain *decision, const float *power, const float *floor)
{
    const int bins = decision->bins, at = decision->count++;
    float *gamma = decision->gamma + (size_t)(LOCAL_REACH + at) * (size_t)bins;
    divide_bounded(power, floor, gamma, bins);
    sum_bands(decision, gamma, decision->region + (size_t)(REGION_REACH + at) * (size_t)decision->band_room);
    step_prior(gamma, decision->speech, decision->forward + (size_t)at * (size_t)bins, decision->prior_least, bins);
    return decision->count == TT_GATE_ROWS;
}

/* How likely a voice is in each bin's neighbourhood, for the frame in row at. */
TT_WIDE static void find_presence(struct tt_gate_gain *decision, int at)
{
    const int bands = decision->bands;
    const float *middle = decision->region + (size_t)(REGION_REACH + at) * (size_t)decision->band_room;
    float *near = decision->near + 1, *presence = decision->presence;
    for (int first = 0; first < decision->band_room; first += BAND_LANES) {
        float sums[BAND_LANES];
        for (int j = 0; j < BAND_LANES; j++) sums[j] = decision->region_weights[0] * middle[first + j];
        for (int t = 1; t <= REGION_REACH; t++) {
            const float weight = decision->region_weights[t];
            const float *before = middle + first - (ptrdiff_t)t * decision->band_room, *behind = middle + first + (ptrdiff_t)t * decision->band_room;
            for (int j = 0; j < BAND_LANES; j++) sums[j] += weight * (before[j] + behind[j]);
        }
        for (int j = 0; j < BAND_LANES; j++) near[first + j] = sums[j];
    }
    decision->near[0] = near[0];
    near[bands] = near[bands - 1];
    /* Weights 1 2 3 2 1 over bands, some 600 Hz in all. */
    const float scale = decision->keep_faint / (9.0F * REGION_LEVEL);
    float last = near[0], before_last = near[0];
    for (int b = 0; b < bands; b++) {
        const float here = near[b], next = near[b + 1], after_next = near[b + 2 <= bands ? b + 2 : bands];
        const float ratio = scale * (before_last + 2.0F * last + 3.0F * here + 2.0F * next + after_next);
        const float fourth = ratio * ratio * ratio * ratio, eighth = fourth * fourth;
        before_last = last;
        last = here;
        const float voiced = (1.0F + PRESENCE_LEAST) * eighth / (1.0F + eighth) - PRESENCE_LEAST;
        near[b] = voiced > 0.0F ? voiced : 0.0F;
    }
    near[-1] = near[0];
    near[bands] = near[bands - 1];
    /* Straight lines between the bands' middles. */
    for (int b = 0; b < bands; b++) {
        presence[b * BAND_BINS] = 0.375F * near[b - 1] + 0.625F * near[b];
        presence[b * BAND_BINS + 1] = 0.125F * near[b - 1] + 0.875F * near[b];
        presence[b * BAND_BINS + 2] = 0.875F * near[b] + 0.125F * near[b + 1];
        presence[b * BAND_BINS + 3] = 0.625F * near[b] + 0.375F * near[b + 1];
    }
}

/* The prior that the rule gets: prior holds the backward one on entry. */
TT_WIDE static void join_priors(struct tt_gate_gain *decision, int at)
{
    const int bins = decision->bins;
    const float *g0 = decision->gamma + (size_t)(LOCAL_REACH + at) * (size_t)bins;
    const float *a1 = g0 - bins, *a2 = a1 - bins, *b1 = g0 + bins, *b2 = b1 + bins;
    const float *forward = decision->forward + (size_t)at * (size_t)bins, *presence = decision->presence;
    float *prior = decision->prior;
    const float keep_faint = decision->keep_faint, least = decision->prior_least;
    for (int i = 0; i < bins; i++) {
        const float both = keep_faint * (forward[i] > prior[i] ? forward[i] : prior[i]);
        const float alone = both / (both + EVEN_PRIOR);
        const float voiced = both * (presence[i] + (1.0F - presence[i]) * alone);
        const float around = LOCAL_WEIGHTS[0] * g0[i] + LOCAL_WEIGHTS[1] * (a1[i] + b1[i]) + LOCAL_WEIGHTS[2] * (a2[i] + b2[i]) - LOCAL_OVER;
        const float risen = around > LOCAL_LEAST ? around : LOCAL_LEAST;
        const float local = presence[i] * (risen < LOCAL_MOST ? risen : LOCAL_MOST);
        const float larger = voiced > local ? voiced : local;
        prior[i] = larger > least ? larger : least;
    }
}

static void move_on(struct tt_gate_gain *decision)
{
    const size_t bins = (size_t)decision->bins, bands = (size_t)decision->band_room;
    memmove(decision->gamma, decision->gamma + TT_GATE_BLOCK * bins, (LOCAL_REACH + TT_GATE_AHEAD) * bins * sizeof(float));
    memmove(decision->forward, decision->forward + TT_GATE_BLOCK * bins, TT_GATE_AHEAD * bins * sizeof(float));
    memmove(decision->region, decision->region + TT_GATE_BLOCK * bands, (REGION_REACH + TT_GATE_AHEAD) * bands * sizeof(float));
    decision->count = TT_GATE_AHEAD;
}

TT_WIDE static void turn_down(float *spectrum, const float *gain, float least, int bins)
{
    for (int i = 0; i < bins; i++) {
        const float bounded = gain[i] > least ? gain[i] : least;
        spectrum[2 * i] *= bounded;
        spectrum[2 * i + 1] *= bounded;
    }
}

void tt_gate_gain_run(struct tt_gate_gain *decision, float *const *spectra)
{
    const int bins = decision->bins;
    /* Backwards from what the forward run knows of the last frame: of a steady sound that is right at once. */
    memcpy(decision->ahead, decision->speech, (size_t)bins * sizeof(float));
    for (int at = TT_GATE_ROWS - 1; at >= 0; at--) {
        const float *gamma = decision->gamma + (size_t)(LOCAL_REACH + at) * (size_t)bins;
        step_prior(gamma, decision->ahead, decision->prior, decision->prior_least, bins);
        if (at >= TT_GATE_BLOCK) continue;
        find_presence(decision, at);
        join_priors(decision, at);
        tt_lsa_gains(decision->prior, gamma, decision->gain, bins);
        turn_down(spectra[at], decision->gain, decision->least, bins);
    }
    move_on(decision);
}
