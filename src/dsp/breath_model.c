/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Logistic regression. Trained by tests/eval/train_breaths.py on sessions with known truth: read English and Spanish voices, recorded and
 * made breaths of 60-1300 ms at -22..-44 dB against the speech, before, between and after lines, rooms of 18-48 dB with hum, fans and
 * echo. Breath files and voices of the tests were left out of the training. */
#include "dsp/breath_model.h"

#include <math.h>

enum { CLUES = 33 };
static const float weights[CLUES] = {
    3.4074f,    /* length */
    0.5466f,    /* length squared */
    0.3909f,    /* level */
    -1.0826f,   /* level squared */
    -0.5073f,   /* over the room */
    -5.4013f,   /* voiced mean */
    -2.2635f,   /* voiced high */
    -0.5748f,   /* band 1 */
    -0.7732f,   /* band 2 */
    0.1088f,    /* band 3 */
    0.9439f,    /* band 4 */
    1.7156f,    /* band 5 */
    -0.5375f,   /* band 6 */
    3.2322f,    /* band 7 */
    -1.5370f,   /* band 8 */
    0.2300f,    /* band 1 squared */
    -0.2672f,   /* band 2 squared */
    -0.5205f,   /* band 3 squared */
    0.0325f,    /* band 4 squared */
    -0.2798f,   /* band 5 squared */
    -0.8689f,   /* band 6 squared */
    -0.9890f,   /* band 7 squared */
    -0.1648f,   /* band 8 squared */
    0.2091f,    /* peak place */
    -1.0434f,   /* centre place */
    -1.1908f,   /* spread */
    -0.2552f,   /* turn */
    0.5371f,    /* since word */
    -0.1325f,   /* until word */
    -0.7211f,   /* rise before */
    -0.2356f,   /* fall after */
    -0.3113f,   /* dip before */
    0.6517f,    /* dip after */
};
static const float offset = 4.2175f;

static float at_most(float value, float most) { return value < most ? value : most; }

/* Lengths and distances count by their ratio to 200 ms. */
static float by_ratio(float ms) { return logf((ms > 20.0f ? ms : 20.0f) / 200.0f); }

static float higher(float a, float b) { return a > b ? a : b; }

static int add(float *values, int count, float value) {
    values[count] = value;
    return count + 1;
}

static void values_of(const struct tt_breath_clues *c, float values[CLUES]) {
    float length = by_ratio(c->duration_ms), level = (c->level_over_speech_db + 32.0f) / 10.0f;
    int n = add(values, 0, length);
    n = add(values, n, length * length);
    n = add(values, n, level);
    n = add(values, n, level * level);
    n = add(values, n, at_most(c->over_peak_db, 30.0f) / 10.0f - 1.5f);
    n = add(values, n, c->voiced_mean);
    n = add(values, n, c->voiced_high);
    for (int b = 0; b < TT_BANDS; b++) n = add(values, n, c->band_db[b] / 10.0f);
    for (int b = 0; b < TT_BANDS; b++) n = add(values, n, c->band_db[b] * c->band_db[b] / 100.0f);
    n = add(values, n, c->peak_place);
    n = add(values, n, c->centre_place);
    n = add(values, n, c->spread_db / 10.0f);
    n = add(values, n, c->turn_db / 10.0f);
    n = add(values, n, by_ratio(c->since_word_ms));
    n = add(values, n, by_ratio(c->until_word_ms));
    n = add(values, n, at_most((c->over_peak_db - c->dip_before_db) / 10.0f, 3.0f));
    n = add(values, n, at_most((c->over_peak_db - c->dip_after_db) / 10.0f, 3.0f));
    n = add(values, n, at_most(c->dip_before_db / 10.0f, 2.0f));
    (void)add(values, n, at_most(c->dip_after_db / 10.0f, 2.0f));
}

/* s and sh have their power above 3.7 kHz; a breath has as much below. One in a hundred of the breaths goes past these marks. */
static const float hiss_top_db = 5.0f, hiss_high_db = 8.0f, hiss_per_db = 1.5f;

static float hiss(const struct tt_breath_clues *c) {
    float middle = higher(higher(c->band_db[2], c->band_db[3]), higher(c->band_db[4], c->band_db[5]));
    return hiss_per_db * (higher(c->band_db[7] - middle - hiss_top_db, 0.0f) + higher(c->band_db[6] - middle - hiss_high_db, 0.0f));
}

float tt_breath_likelihood(const struct tt_breath_clues *clues) {
    float values[CLUES], sum = offset - hiss(clues);
    values_of(clues, values);
    for (int k = 0; k < CLUES; k++) sum += weights[k] * values[k];
    return 1.0f / (1.0f + expf(-sum));
}
