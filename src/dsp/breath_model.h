/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Is a sound between words a breath? A logistic regression on what it sounds like and how it stands between the words.
 */
#ifndef TT_DSP_BREATH_MODEL_H
#define TT_DSP_BREATH_MODEL_H

#include "dsp/band_levels.h"

/* Levels in dB; "over" is the frame statistic of the listener: how far the best bands stand over the room. */
struct tt_breath_clues {
    float duration_ms;
    float level_over_speech_db;     /* mean power, room taken off, against the speech around; negative as a rule */
    float over_peak_db;             /* highest over */
    float voiced_mean, voiced_high; /* mean and ninth tenth of how voiced it is, room taken off */
    float band_db[TT_BANDS]; /* mean power by band, room taken off, against their mean; 0 where the rate has no such
                                band */
    float peak_place, centre_place; /* where in it the highest level and the middle of its energy are, 0..1 */
    float spread_db;                /* standard deviation of its level */
    float turn_db;                  /* how much its colour changes from the first half to the second (RMS over bands) */
    float since_word_ms, until_word_ms; /* to the nearest sure speech, at most 1000 */
    float dip_before_db, dip_after_db;  /* over at the valleys on both sides */
};

/* 0..1. */
float tt_breath_likelihood(const struct tt_breath_clues *clues);

#endif
