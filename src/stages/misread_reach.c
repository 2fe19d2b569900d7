/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How far a misread reaches beyond the words that are read again. */
#include "stages/misread_reach.h"

/* A word too many behind what is read again takes no longer. */
static const double longest_tail_s = 1.2;
/* First words that were said differently take no longer, and about as long in both readings. */
static const double longest_lead_s = 1.5, most_ratio = 1.4;

static double seconds_of(const struct tt_phrase *phrase) { return phrase->end_s - phrase->start_s; }

/* What goes on behind a misread without a pause belongs to it. */
static void add_tail(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *wanted,
                     struct tt_phrase_choice *choices)
{
    for (size_t p = reread->last + 1; p < reread->again && tt_phrases_join(phrases, p - 1); p++) {
        if (choices[p].fate != TT_PHRASE_STAYS || wanted[p] || seconds_of(&phrases->all[p]) > longest_tail_s)
            return;
        choices[p] = choices[p - 1];
    }
}

/* Phrases without a pause between them, behind a pause, which lead into the next one at once. */
struct lead {
    size_t first, last;
    double seconds;
};

static bool find_lead(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices, size_t next,
                      struct lead *lead)
{
    if (next == 0 || !tt_phrases_flow(phrases, next - 1))
        return false;
    size_t first = next - 1;
    while (first > 0 && tt_phrases_join(phrases, first - 1))
        first--;
    for (size_t p = first; p < next; p++)
        if (choices[p].fate != TT_PHRASE_STAYS)
            return false;
    *lead = (struct lead){first, next - 1, phrases->all[next - 1].end_s - phrases->all[first].start_s};
    return lead->seconds <= longest_lead_s && (first == 0 || !tt_phrases_flow(phrases, first - 1));
}

/* Where something leads into both readings, the one replaces the other. */
static void add_lead(const struct tt_phrases *phrases, const struct tt_reread *reread, struct tt_phrase_choice *choices)
{
    struct lead lead, other;
    if (!find_lead(phrases, choices, reread->first, &lead) || !find_lead(phrases, choices, reread->again, &other))
        return;
    if (lead.seconds > most_ratio * other.seconds || other.seconds > most_ratio * lead.seconds)
        return;
    for (size_t p = lead.first; p <= lead.last; p++)
        choices[p] = choices[reread->first];
}

void tt_misread_reach_extend(const struct tt_phrases *phrases, const bool *wanted, struct tt_phrase_choice *choices)
{
    for (size_t p = 0; p < phrases->count; p++) {
        if (!tt_phrase_starts_misread(choices, p))
            continue;
        add_tail(phrases, choices[p].reread, wanted, choices);
        add_lead(phrases, choices[p].reread, choices);
    }
}
