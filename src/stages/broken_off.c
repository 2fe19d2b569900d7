/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/broken_off.h"

#include <math.h>

#include "stages/phrase_ends.h"

/* How abruptly a line ends: logistic weights, fitted on the ends of 12,000 lines and of 2,400 readings that were broken
 * off, of four voices. */
static const double always = 1.84, by_fall_db = -0.155, by_syllable_s = -5.93, by_fading_s = -4.2;
/* Voices differ more in it than their lines do: one says all its ends as another breaks off. So much more abrupt than
 * this voice's own ends, in deviations, are one in 3,000 of them, and one in nine of those that were broken off (four
 * voices, 3,400 ends). At the end of a take, or before talk, there are far fewer line ends, and it is likelier. */
static const double least_among_lines = 2.9, least_before_end = 2.5;
/* What is known of a voice before it is heard: as if so many ends had been like those of the four. */
static const double usual_ends = 10.0, usual_mean = -1.2, usual_variance = 1.0;
/* Whoever only holds his breath before a word goes on sooner. */
static const double least_pause_s = 0.3;
/* What is much shorter is a cough, or a word of its own; what is much fainter is talk. */
static const double least_s = 0.4;
static const float faint_db = 6.0f;
static const double confidence = 0.5;

static bool is_last_of_take(const struct tt_phrases *phrases, size_t phrase)
{
    return phrase + 1 >= phrases->count || phrases->all[phrase + 1].take != phrases->all[phrase].take;
}

static double pause_behind_s(const struct tt_phrases *phrases, size_t phrase)
{
    return phrases->all[phrase + 1].start_s - phrases->all[phrase].end_s;
}

static double abruptness(const struct tt_phrases *phrases, size_t phrase)
{
    const struct tt_phrase_end end = tt_phrase_end_of(phrases, phrase);
    return always + by_fall_db * end.fall_db + by_syllable_s * end.syllable_s + by_fading_s * end.fading_s;
}

/* Whether a line that stays ends with the phrase. */
static bool ends_a_line(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices, size_t phrase)
{
    const struct tt_phrase *p = &phrases->all[phrase];
    if (choices[phrase].fate != TT_PHRASE_STAYS || p->end_s - p->start_s < least_s ||
        p->level_db < phrases->typical_level_db - faint_db)
        return false;
    return is_last_of_take(phrases, phrase) || pause_behind_s(phrases, phrase) >= least_pause_s;
}

struct usual {
    double mean, deviation;
};

/* How the lines of this session end. */
static struct usual usual_end(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices)
{
    double count = usual_ends, sum = usual_ends * usual_mean,
           squares = usual_ends * (usual_variance + usual_mean * usual_mean);
    for (size_t p = 0; p < phrases->count; p++) {
        if (!ends_a_line(phrases, choices, p))
            continue;
        const double abrupt = abruptness(phrases, p);
        count += 1.0;
        sum += abrupt;
        squares += abrupt * abrupt;
    }
    const double mean = sum / count;
    return (struct usual){mean, sqrt(squares / count - mean * mean)};
}

/* The last try at a line would have been tried again, had it been broken off, too. */
static bool is_broken_off(const struct tt_phrases *phrases, const struct usual *usual, const bool *wanted,
                          const struct tt_phrase_choice *choices, size_t phrase)
{
    if (wanted[phrase] || !ends_a_line(phrases, choices, phrase))
        return false;
    const bool is_before_end = is_last_of_take(phrases, phrase) || choices[phrase + 1].fate == TT_PHRASE_TALK_ELSEWHERE;
    return abruptness(phrases, phrase) >=
           usual->mean + (is_before_end ? least_before_end : least_among_lines) * usual->deviation;
}

void tt_broken_off_choose(const struct tt_phrases *phrases, const bool *wanted, struct tt_phrase_choice *choices,
                          size_t *parts)
{
    const struct usual usual = usual_end(phrases, choices);
    for (size_t p = 0; p < phrases->count; p++) {
        if (!is_broken_off(phrases, &usual, wanted, choices, p))
            continue;
        size_t first = p;
        while (first > 0 && !is_last_of_take(phrases, first - 1) && choices[first - 1].fate == TT_PHRASE_STAYS &&
               pause_behind_s(phrases, first - 1) < least_pause_s)
            first--;
        ++*parts;
        for (size_t k = first; k <= p; k++)
            choices[k] = (struct tt_phrase_choice){
                .fate = TT_PHRASE_MISREAD, .action = TT_DO_ASK, .confidence = confidence, .part = *parts};
    }
}
