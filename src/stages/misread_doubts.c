/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/misread_doubts.h"

#include <math.h>
#include <stdlib.h>

#include "stages/phrase_ends.h"
#include "stages/reread_doubts.h"

/* A line is read to its end three times and given up each time at most; beyond that it is taken for a list. */
enum { MOST_TRIES = 3 };
/* A line that ends as sentences do, with a pause behind it: the next one may begin with the same words. In 18 hours of
 * eight voices 1 of 1,493 readings that were broken off had both, and 2 of 4 lines that went wrongly before a pause. */
static const double whole_fall_db = 8.0, whole_pause_s = 1.5;

static void ask(struct tt_phrase_choice *choices, size_t first, size_t last)
{
    for (size_t p = first; p <= last; p++) {
        choices[p].action = TT_DO_ASK;
        if (choices[p].confidence > TT_DOUBTFUL_MOST)
            choices[p].confidence = TT_DOUBTFUL_MOST;
    }
}

/* Nobody reads a line to its end five times, but lists are like that: 'add one spoon ...', 'add two spoons ...'. */
static bool ask_about_lists(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, struct tt_error *err)
{
    const size_t count = phrases->count;
    size_t *last = calloc(count ? count : 1, sizeof *last), *tries = calloc(count ? count : 1, sizeof *tries);
    bool is_done = (last && tries) || tt_fail_memory(err);
    for (size_t p = count; is_done && p-- > 0;) {
        if (!tt_phrase_starts_misread(choices, p))
            continue;
        size_t again = choices[p].reread->again;
        last[p] = tt_phrase_starts_misread(choices, again) ? last[again] : again;
        tries[last[p]] += !tt_reread_was_broken_off(choices[p].reread);
    }
    for (size_t p = 0; is_done && p < count; p++)
        if (tt_phrase_starts_misread(choices, p) && tries[last[p]] > MOST_TRIES && !choices[p].is_knocked)
            ask(choices, p, choices[p].reread->last);
    free(last);
    free(tries);
    return is_done;
}

/* 'Now open the lid.' 'Open the lid slowly ...': whoever goes back inside a line has broken it off. */
static void ask_about_line_ends(const struct tt_phrases *phrases, struct tt_phrase_choice *choices)
{
    for (size_t p = 1; p < phrases->count; p++) {
        if (!tt_phrase_starts_misread(choices, p) || choices[p].is_knocked || choices[p - 1].fate != TT_PHRASE_STAYS ||
            !tt_phrases_join(phrases, p - 1))
            continue;
        const size_t last = choices[p].reread->last;
        if (!tt_phrases_join(phrases, last) && tt_phrase_end_falls(tt_phrase_end_of(phrases, last).fall_db))
            ask(choices, p, last);
    }
}

/* 'Look for eggs, they stand | Search for eggs,' 'they stand': begun in the middle of a line and over a pause, it may
 * hold the first words of the re-read, which were others. */
static bool may_hold_first_words(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices, size_t p)
{
    const struct tt_reread *reread = choices[p].reread;
    if (p == 0 || choices[p - 1].fate != TT_PHRASE_STAYS || !tt_phrases_flow(phrases, p - 1) ||
        !tt_phrases_flow(phrases, reread->last) || reread->again != reread->last + 1)
        return false;
    for (size_t q = p; q < reread->last; q++)
        if (!tt_phrases_flow(phrases, q))
            return true;
    return false;
}

static void ask_about_first_words(const struct tt_phrases *phrases, struct tt_phrase_choice *choices)
{
    for (size_t p = 0; p < phrases->count; p++)
        if (tt_phrase_starts_misread(choices, p) && !choices[p].is_knocked && may_hold_first_words(phrases, choices, p))
            ask(choices, p, choices[p].reread->last);
}

/* 'Press the star.' ... 'Press the star to go back.' */
static void ask_about_whole_lines(const struct tt_phrases *phrases, struct tt_phrase_choice *choices)
{
    for (size_t p = 0; p < phrases->count; p++) {
        if (!tt_phrase_starts_misread(choices, p) || choices[p].is_knocked)
            continue;
        const struct tt_reread *reread = choices[p].reread;
        if (reread->seen[TT_SEEN_GOES_ON] > 0.0f && (double)reread->seen[TT_SEEN_PAUSE] > log(whole_pause_s) &&
            tt_phrase_end_of(phrases, reread->last).fall_db > whole_fall_db)
            ask(choices, p, reread->last);
    }
}

bool tt_misread_doubts_ask(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, struct tt_error *err)
{
    ask_about_line_ends(phrases, choices);
    ask_about_whole_lines(phrases, choices);
    ask_about_first_words(phrases, choices);
    return ask_about_lists(phrases, choices, err);
}
