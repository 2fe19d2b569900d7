/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A small network: 33 numbers, 8 hidden units, one likelihood. Trained on some 1,100 breaths and 8,000 other pieces
 * that this listener found in made sessions with known truth: read English and Spanish voices (two recorded at 16, one
 * at 48 kHz), recorded breaths of one woman and made ones, 60-1300 ms long, -22 to -44 dB against the speech, before,
 * between and after lines, in rooms 18-48 dB below the speech with hum, fans, echo, tilted microphones, and noises of
 * paper, chairs and coughs. Word edges count as other pieces, with the distances and dips of breaths lent to them, so
 * that the sound itself must decide. Half of the breath recordings and a French voice were kept for testing.
 * Squared-error penalty 4 on the weights of standardised numbers; L-BFGS. */
#include "dsp/breath_model.h"

#include <math.h>

enum { CLUES = 33, HIDDEN = 8 };

static const float weights[HIDDEN][CLUES] = {
    {-0.871f, -0.095f, 0.533f,  0.142f,  0.234f,  -1.228f, -0.334f, 0.347f, 0.247f,  -0.152f, -0.731f,
     -0.195f, 0.044f,  -0.602f, 0.267f,  -0.090f, 0.189f,  0.160f,  0.403f, -0.136f, 0.710f,  0.053f,
     0.106f,  1.370f,  0.979f,  -0.627f, -0.303f, -0.924f, -0.797f, 0.240f, 0.348f,  0.165f,  -0.470f},
    {0.172f,  0.080f,  -0.353f, 0.234f, 0.248f, 0.552f, -1.168f, -0.191f, 0.178f, 0.196f,  -0.041f,
     -0.106f, 0.142f,  -0.537f, 0.274f, 0.086f, 0.051f, 0.365f,  0.285f,  0.059f, 0.119f,  0.153f,
     0.056f,  -0.185f, 0.146f,  0.292f, 0.213f, 1.301f, 1.441f,  0.161f,  0.087f, -0.412f, -0.132f},
    {-1.353f, -0.568f, -0.180f, 0.328f, -0.037f, 1.778f,  1.070f,  0.226f,  0.005f,  0.496f,  0.309f,
     -0.076f, -0.745f, -0.594f, 0.095f, -0.079f, 0.361f,  -0.095f, -0.106f, 0.238f,  -0.054f, 0.263f,
     -0.071f, 1.044f,  2.644f,  1.439f, 0.646f,  -0.357f, -0.256f, -0.084f, -0.025f, 0.181f,  -1.151f},
    {0.712f,  0.379f,  0.034f, -0.126f, -0.002f, -2.177f, 0.104f, -0.064f, 0.077f,  -0.385f, 0.079f,
     0.303f,  -0.034f, 0.116f, -0.008f, 0.014f,  0.124f,  0.209f, -0.491f, -0.979f, 0.190f,  -0.125f,
     -0.026f, 5.025f,  1.878f, -1.532f, 0.300f,  0.080f,  0.083f, -0.002f, 0.159f,  0.325f,  0.324f},
    {-0.059f, -0.167f, -0.051f, -0.004f, 0.346f,  2.032f,  1.774f,  0.097f,  0.251f,  0.232f,  -0.164f,
     -0.283f, 0.855f,  -1.016f, 0.139f,  0.075f,  -0.019f, -0.202f, -1.095f, -0.255f, -0.269f, 0.249f,
     -0.001f, 0.218f,  -0.462f, -0.943f, -1.232f, -0.277f, 0.976f,  -0.086f, -0.113f, 0.715f,  0.689f},
    {0.473f,  0.091f,  0.619f,  -0.029f, 0.187f,  0.521f, 0.987f,  -0.106f, 0.078f, -1.035f, -0.465f,
     -0.661f, 0.360f,  -0.164f, 0.664f,  -0.066f, 0.001f, -0.337f, 0.263f,  0.109f, -0.412f, 0.340f,
     0.049f,  -0.391f, 0.553f,  -3.875f, -1.199f, 0.260f, -0.265f, -0.007f, 0.229f, 0.732f,  0.277f},
    {-1.020f, 0.294f,  0.197f,  0.213f, -0.283f, 0.578f,  0.190f, 0.379f,  0.330f,  -0.424f, -0.151f,
     -0.998f, -0.106f, -0.909f, 0.498f, 0.077f,  0.396f,  0.233f, -0.564f, -0.603f, 0.443f,  0.199f,
     -0.177f, 0.569f,  -1.046f, 0.888f, 0.842f,  -0.009f, 0.004f, -0.116f, -0.175f, 0.168f,  -0.295f},
    {1.398f,  -0.027f, 0.382f,  0.080f,  -0.513f, -0.172f, 1.349f,  -0.053f, 0.500f,  0.411f, -0.121f,
     -0.309f, 0.369f,  -0.382f, -0.075f, 0.119f,  -0.359f, -0.619f, 0.143f,  0.165f,  0.422f, -0.527f,
     -0.084f, -0.124f, 0.923f,  -0.879f, -0.530f, 0.144f,  0.150f,  -0.603f, -0.216f, 1.034f, -1.029f},
};
static const float offsets[HIDDEN] = {-1.749f, -3.993f, -3.328f, -0.703f, -0.029f, 0.255f, 0.017f, 1.576f};
static const float hidden_weights[HIDDEN] = {-2.252f, -2.353f, -2.073f, 2.169f, -1.754f, -2.232f, -1.847f, 1.519f};
static const float offset = -5.974f;

static float at_most(float value, float most) { return value < most ? value : most; }

static float higher(float a, float b) { return a > b ? a : b; }

/* Lengths and distances count by their ratio to 200 ms. */
static float by_ratio(float ms) { return logf(higher(ms, 20.0f) / 200.0f); }

static int add(float *values, int count, float value)
{
    values[count] = value;
    return count + 1;
}

static void values_of(const struct tt_breath_clues *c, float values[CLUES])
{
    float length = by_ratio(c->duration_ms), level = (c->level_over_speech_db + 32.0f) / 10.0f;
    int n = add(values, 0, length);
    n = add(values, n, length * length);
    n = add(values, n, level);
    n = add(values, n, level * level);
    n = add(values, n, at_most(c->over_peak_db, 30.0f) / 10.0f - 1.5f);
    n = add(values, n, c->voiced_mean);
    n = add(values, n, c->voiced_high);
    for (int b = 0; b < TT_BANDS; b++)
        n = add(values, n, c->band_db[b] / 10.0f);
    for (int b = 0; b < TT_BANDS; b++)
        n = add(values, n, c->band_db[b] * c->band_db[b] / 100.0f);
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

/* s and sh have their power above 3.7 kHz; a breath has as much below. One in a hundred of the breaths goes past these
 * marks. This stands beside the network, since no training shows it every s there is. */
static const float hiss_top_db = 5.0f, hiss_high_db = 8.0f, hiss_per_db = 0.75f;

static float hiss(const struct tt_breath_clues *c)
{
    float middle = higher(higher(c->band_db[2], c->band_db[3]), higher(c->band_db[4], c->band_db[5]));
    return hiss_per_db *
           (higher(c->band_db[7] - middle - hiss_top_db, 0.0f) + higher(c->band_db[6] - middle - hiss_high_db, 0.0f));
}

float tt_breath_likelihood(const struct tt_breath_clues *clues)
{
    float values[CLUES], sum = offset - hiss(clues);
    values_of(clues, values);
    for (int h = 0; h < HIDDEN; h++) {
        float inner = offsets[h];
        for (int k = 0; k < CLUES; k++)
            inner += weights[h][k] * values[k];
        sum += hidden_weights[h] * tanhf(inner);
    }
    return 1.0f / (1.0f + expf(-sum));
}
