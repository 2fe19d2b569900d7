/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Logistic regression. Trained by tests/eval/train_breaths.py on sessions with known truth: read English and Spanish voices, recorded and
 * made breaths of 60-1300 ms at -22..-44 dB against the speech, before, between and after lines, rooms of 18-48 dB with hum, fans and
 * echo. Breath files and voices of the tests were left out of the training. */
#include "dsp/breath_model.h"

#include <math.h>

enum { CLUES = 36 };
static const float weights[CLUES] = {
    3.3149f,    /* length */
    0.3611f,    /* length squared */
    0.4178f,    /* level */
    -1.3815f,   /* level squared */
    -0.8139f,   /* over the room */
    -3.5329f,   /* voiced mean */
    -1.7977f,   /* voiced high */
    -0.6570f,   /* band 1 */
    -0.4898f,   /* band 2 */
    -0.1295f,   /* band 3 */
    1.0364f,    /* band 4 */
    1.6160f,    /* band 5 */
    -0.3694f,   /* band 6 */
    2.8246f,    /* band 7 */
    -1.3332f,   /* band 8 */
    0.0789f,    /* band 1 squared */
    -0.2438f,   /* band 2 squared */
    -0.3423f,   /* band 3 squared */
    0.0093f,    /* band 4 squared */
    0.1241f,    /* band 5 squared */
    -0.7832f,   /* band 6 squared */
    -1.3518f,   /* band 7 squared */
    -0.1095f,   /* band 8 squared */
    -0.2550f,   /* peak place */
    -0.6298f,   /* centre place */
    -1.4159f,   /* spread */
    -0.9490f,   /* turn */
    0.7408f,    /* since word */
    -0.0089f,   /* until word */
    -0.5631f,   /* rise before */
    -0.2457f,   /* fall after */
    -0.0564f,   /* dip before */
    0.5432f,    /* dip after */
    0.1448f,    /* top over middle */
    0.0287f,    /* high over middle */
    0.2891f,    /* either */
};
static const float offset = 4.3817f;

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
    n = add(values, n, at_most(c->dip_after_db / 10.0f, 2.0f));
    /* s and sh have their power above 3.7 kHz; a breath has as much below. */
    float middle = higher(higher(c->band_db[2], c->band_db[3]), higher(c->band_db[4], c->band_db[5]));
    float top = higher((c->band_db[7] - middle) / 10.0f, -0.5f), high = higher((c->band_db[6] - middle) / 10.0f, -0.5f);
    n = add(values, n, top);
    n = add(values, n, high);
    (void)add(values, n, higher(higher(top, high), 0.0f));
}

float tt_breath_likelihood(const struct tt_breath_clues *clues) {
    float values[CLUES], sum = offset;
    values_of(clues, values);
    for (int k = 0; k < CLUES; k++) sum += weights[k] * values[k];
    return 1.0f / (1.0f + expf(-sum));
}
