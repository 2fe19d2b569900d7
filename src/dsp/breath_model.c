/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/breath_model.h"

#include <math.h>

/* Rules of thumb until the regression is trained. */
float tt_breath_likelihood(const struct tt_breath_clues *c) {
    float against = 0.0f;
    if (c->level_over_speech_db > -18.0f) against += 0.5f * (c->level_over_speech_db + 18.0f);
    if (c->level_over_speech_db < -48.0f) against += 2.0f;
    against += c->voiced_high > 0.35f ? 12.0f * (c->voiced_high - 0.35f) : 0.0f;
    against += c->duration_ms < 120.0f ? 0.03f * (120.0f - c->duration_ms) : 0.0f;
    float top = c->band_db[6] > c->band_db[7] ? c->band_db[6] : c->band_db[7];
    float middle = c->band_db[2] > c->band_db[3] ? c->band_db[2] : c->band_db[3];
    against += top > middle + 4.0f ? 0.5f * (top - middle - 4.0f) : 0.0f;
    return 1.0f / (1.0f + expf(against - 2.5f));
}
