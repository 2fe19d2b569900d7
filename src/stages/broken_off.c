/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/broken_off.h"

#include "stages/phrase_ends.h"

/* Logistic weights, fitted on the ends of 12,000 lines and of 2,400 readings that were broken off, of four voices. */
static const double always = 1.84, by_fall_db = -0.155, by_syllable_s = -5.93, by_fading_s = -4.2;
/* Sentences end like that, too: one in a thousand beyond the first. At the end of a take, or before talk, there are far fewer of them, and it is likelier. */
static const double least_among_lines = 1.3, least_before_end = 0.76;
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

static double pause_behind_s(const struct tt_phrases *phrases, size_t phrase) { return phrases->all[phrase + 1].start_s - phrases->all[phrase].end_s; }

/* The last try at a line would have been tried again, had it been broken off, too. */
static bool is_broken_off(const struct tt_phrases *phrases, const bool *wanted, const struct tt_phrase_choice *choices, size_t phrase)
{
    const struct tt_phrase *p = &phrases->all[phrase];
    const bool is_last = is_last_of_take(phrases, phrase), is_before_end = is_last || choices[phrase + 1].fate == TT_PHRASE_TALK_ELSEWHERE;
    if (choices[phrase].fate != TT_PHRASE_STAYS || wanted[phrase] || p->end_s - p->start_s < least_s || p->level_db < phrases->typical_level_db - faint_db) return false;
    if (!is_last && pause_behind_s(phrases, phrase) < least_pause_s) return false;
    const struct tt_phrase_end end = tt_phrase_end_of(phrases, phrase);
    double abrupt = always + by_fall_db * end.fall_db + by_syllable_s * end.syllable_s + by_fading_s * end.fading_s;
    return abrupt >= (is_before_end ? least_before_end : least_among_lines);
}

void tt_broken_off_choose(const struct tt_phrases *phrases, const bool *wanted, struct tt_phrase_choice *choices, size_t *parts)
{
    for (size_t p = 0; p < phrases->count; p++) {
        if (!is_broken_off(phrases, wanted, choices, p)) continue;
        size_t first = p;
        while (first > 0 && !is_last_of_take(phrases, first - 1) && choices[first - 1].fate == TT_PHRASE_STAYS && pause_behind_s(phrases, first - 1) < least_pause_s) first--;
        ++*parts;
        for (size_t k = first; k <= p; k++)
            choices[k] = (struct tt_phrase_choice){.fate = TT_PHRASE_MISREAD, .action = TT_DO_ASK, .confidence = confidence, .part = *parts};
    }
}
