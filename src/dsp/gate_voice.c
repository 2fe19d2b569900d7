/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Mean posterior SNRs over some 130 ms, by bands of four bins: over some 600 Hz for a bin's neighbourhood, over the
 * whole range of a voice for the frame. A voice is as likely as not at a level that noise does not reach where the
 * floor is right within 1.5 dB. */
#include "dsp/gate_voice.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/large.h"
#include "base/units.h"
#include "dsp/fast_math.h"

/* Measured on read speech with made noise at 10 to 50 dB SNR: segmental SNR, log-spectral distance, STOI, kurtosis. */
static const float REGION_LEVEL = 1.8F; /* mean posterior SNR at which a voice is as likely as not */
static const float VOICE_LEVEL = 1.75F; /* the same over the voice's range */
static const float STRONG_LEVEL = 7.0F; /* ... and at which it is half strong; 10 dB SNR reaches some 3, 20 dB some 7 */
static const float PRESENCE_LEAST = 0.3F;     /* a chance under this is none */
static const float REGION_GAMMA_MOST = 20.0F; /* so that a single line does not make a neighbourhood */
static const double VOICE_FROM_HZ = 190.0, VOICE_TO_HZ = 7500.0, VOICE_FADE_HZ = 1500.0;

enum { REGION_REACH = 12, BAND_BINS = 4, BAND_LANES = 16, NEAR_REACH = 2 };

struct tt_gate_voice {
    int bins, bands;
    int band_room; /* bands in a row of region, a multiple of BAND_LANES */
    int from, to;  /* bands between which a voice is told */
    float keep_faint;
    float region_weights[REGION_REACH + 1];
    float *region;                   /* REGION_REACH rows of the past, then TT_GATE_ROWS: sums by band */
    float *near, *chance, *presence; /* of one frame: by band with NEAR_REACH more at each end, and by bin */
    float *range;                    /* by bin */
};

/* Hann over 2 * REGION_REACH + 1 frames, with the share of a bin in a band's sum. */
static void fill_region_weights(struct tt_gate_voice *voice)
{
    double sum = 0.0, weights[REGION_REACH + 1];
    for (int i = 0; i <= REGION_REACH; i++) {
        weights[i] = 0.5 + 0.5 * cos(TT_PI * i / (REGION_REACH + 1));
        sum += i == 0 ? weights[i] : 2.0 * weights[i];
    }
    for (int i = 0; i <= REGION_REACH; i++)
        voice->region_weights[i] = (float)(weights[i] / sum / BAND_BINS);
}

static void set_range(struct tt_gate_voice *voice, struct tt_stft_shape shape)
{
    const double band_hz = (double)shape.rate_hz / shape.window_samples * BAND_BINS;
    const int to = (int)(VOICE_TO_HZ / band_hz), most = voice->bins / BAND_BINS;
    voice->from = (int)(VOICE_FROM_HZ / band_hz);
    voice->to = to < most ? to : most;
    for (int i = 0; i < voice->bins; i++) {
        const double above = (i * band_hz / BAND_BINS - VOICE_TO_HZ) / VOICE_FADE_HZ;
        voice->range[i] = (float)(above < 0.0 ? 1.0 : above < 1.0 ? 1.0 - above : 0.0);
    }
}

struct tt_gate_voice *tt_gate_voice_create(struct tt_stft_shape shape, float keep_faint, struct tt_error *err)
{
    struct tt_gate_voice *voice = calloc(1, sizeof *voice);
    if (!voice) {
        tt_fail_memory(err);
        return NULL;
    }
    voice->bins = shape.bin_count;
    voice->bands = (shape.bin_count + BAND_BINS - 1) / BAND_BINS;
    voice->band_room = (voice->bands + BAND_LANES - 1) / BAND_LANES * BAND_LANES;
    voice->keep_faint = keep_faint;
    voice->region = tt_alloc_lines((size_t)(REGION_REACH + TT_GATE_ROWS) * (size_t)voice->band_room * sizeof(float));
    voice->near = calloc((size_t)voice->band_room + 2 * NEAR_REACH, sizeof(float));
    voice->chance = calloc((size_t)voice->band_room + 2 * NEAR_REACH, sizeof(float));
    voice->presence = calloc((size_t)voice->bands * BAND_BINS, sizeof(float));
    voice->range = calloc((size_t)voice->bins, sizeof(float));
    if (!voice->region || !voice->near || !voice->chance || !voice->presence || !voice->range) {
        tt_fail_memory(err);
        tt_gate_voice_destroy(voice);
        return NULL;
    }
    fill_region_weights(voice);
    set_range(voice, shape);
    return voice;
}

void tt_gate_voice_destroy(struct tt_gate_voice *voice)
{
    if (!voice)
        return;
    free(voice->region);
    free(voice->near);
    free(voice->chance);
    free(voice->presence);
    free(voice->range);
    free(voice);
}

TT_WIDE static void sum_bands(const struct tt_gate_voice *voice, const float *gamma, float *region)
{
    const int whole = voice->bins / BAND_BINS;
    for (int b = 0; b < whole; b++) {
        float sum = 0.0F;
        for (int i = 0; i < BAND_BINS; i++) {
            const float value = gamma[b * BAND_BINS + i];
            sum += value < REGION_GAMMA_MOST ? value : REGION_GAMMA_MOST;
        }
        region[b] = sum;
    }
    /* Half the rate stands alone: taken for four alike. */
    const int left = voice->bins - whole * BAND_BINS;
    for (int i = 0; i < left; i++) {
        const float value = gamma[whole * BAND_BINS + i];
        region[whole] = (value < REGION_GAMMA_MOST ? value : REGION_GAMMA_MOST) * BAND_BINS;
    }
}

void tt_gate_voice_add(struct tt_gate_voice *voice, int at, const float *gamma)
{
    sum_bands(voice, gamma, voice->region + (size_t)(REGION_REACH + at) * (size_t)voice->band_room);
}

/* 0 to 1 from the mean posterior SNR over its threshold. */
static inline float chance_of_voice(float ratio)
{
    const float fourth = ratio * ratio * ratio * ratio, eighth = fourth * fourth;
    const float voiced = (1.0F + PRESENCE_LEAST) * eighth / (1.0F + eighth) - PRESENCE_LEAST;
    return voiced > 0.0F ? voiced : 0.0F;
}

/* Mean posterior SNR by band around the frame in row at. */
TT_WIDE static void find_near(struct tt_gate_voice *voice, int at)
{
    const float *middle = voice->region + (size_t)(REGION_REACH + at) * (size_t)voice->band_room;
    float *near = voice->near + NEAR_REACH;
    for (int first = 0; first < voice->band_room; first += BAND_LANES) {
        float sums[BAND_LANES];
        for (int j = 0; j < BAND_LANES; j++)
            sums[j] = voice->region_weights[0] * middle[first + j];
        for (int t = 1; t <= REGION_REACH; t++) {
            const float weight = voice->region_weights[t];
            const float *before = middle + first - (ptrdiff_t)t * voice->band_room,
                        *behind = middle + first + (ptrdiff_t)t * voice->band_room;
            for (int j = 0; j < BAND_LANES; j++)
                sums[j] += weight * (before[j] + behind[j]);
        }
        for (int j = 0; j < BAND_LANES; j++)
            near[first + j] = sums[j];
    }
}

/* Whether somebody speaks in the frame, whatever the frequency. */
static struct tt_gate_frame judge_frame(const struct tt_gate_voice *voice)
{
    float sum = 0.0F;
    for (int b = voice->from; b < voice->to; b++)
        sum += voice->near[NEAR_REACH + b];
    const int count = voice->to - voice->from;
    const float level = count > 0 ? sum / (float)count : 0.0F;
    const float square = level * level / (STRONG_LEVEL * STRONG_LEVEL), fourth = square * square;
    return (struct tt_gate_frame){.chance = chance_of_voice(voice->keep_faint * level / VOICE_LEVEL),
                                  .strength = fourth / (1.0F + fourth)};
}

static void repeat_ends(float *values, int count)
{
    for (int i = 1; i <= NEAR_REACH; i++) {
        values[-i] = values[0];
        values[count - 1 + i] = values[count - 1];
    }
}

/* How likely a voice is in each band's neighbourhood: weights 1 2 3 2 1 over bands, some 600 Hz in all. */
TT_WIDE static void find_chances(const float *restrict near, float *restrict chance, float scale, int bands)
{
    for (int b = 0; b < bands; b++)
        chance[b] = chance_of_voice(
            scale * (near[b - 2] + 2.0F * near[b - 1] + 3.0F * near[b] + 2.0F * near[b + 1] + near[b + 2]));
}

/* Straight lines between the bands' middles. */
TT_WIDE static void spread_to_bins(const float *restrict chance, float *restrict presence, int bands)
{
    for (int b = 0; b < bands; b++) {
        presence[b * BAND_BINS] = 0.375F * chance[b - 1] + 0.625F * chance[b];
        presence[b * BAND_BINS + 1] = 0.125F * chance[b - 1] + 0.875F * chance[b];
        presence[b * BAND_BINS + 2] = 0.875F * chance[b] + 0.125F * chance[b + 1];
        presence[b * BAND_BINS + 3] = 0.625F * chance[b] + 0.375F * chance[b + 1];
    }
}

static void find_presence(struct tt_gate_voice *voice)
{
    float *near = voice->near + NEAR_REACH, *chance = voice->chance + NEAR_REACH;
    repeat_ends(near, voice->bands);
    find_chances(near, chance, voice->keep_faint / (9.0F * REGION_LEVEL), voice->bands);
    repeat_ends(chance, voice->bands);
    spread_to_bins(chance, voice->presence, voice->bands);
}

const float *tt_gate_voice_find(struct tt_gate_voice *voice, int at, struct tt_gate_frame *frame)
{
    find_near(voice, at);
    *frame = judge_frame(voice);
    find_presence(voice);
    return voice->presence;
}

const float *tt_gate_voice_range(const struct tt_gate_voice *voice) { return voice->range; }

void tt_gate_voice_move_on(struct tt_gate_voice *voice)
{
    const size_t room = (size_t)voice->band_room;
    memmove(voice->region, voice->region + TT_GATE_BLOCK * room, (REGION_REACH + TT_GATE_AHEAD) * room * sizeof(float));
}

void tt_gate_voice_restart(struct tt_gate_voice *voice)
{
    memset(voice->region, 0, (size_t)(REGION_REACH + TT_GATE_ROWS) * (size_t)voice->band_room * sizeof *voice->region);
}
