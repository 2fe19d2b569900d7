/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/told.h"

#include <string.h>

/* A knock so long after the last word is about something else. */
static const double knock_reach_s = 10.0;
/* Its re-read begins so soon; with a word to the listener before it. */
static const double again_within_s = 20.0;
/* Half a second of the same words: behind a knock that is evidence enough (measured on alignments of re-readings). */
static const float least_score = 12.0f;
/* Lines are set apart by pauses from here on (the shortest that parted the phrases of read speech). */
static const double line_pause_s = 0.3;
/* A wrong word behind a pause of its own may follow what matches. */
enum { UNMATCHED_PHRASES = 2 };
static const double knocked_certainty = 0.98;

/* ---- chosen ---- */

static bool chooses_over_other(const struct tt_row *row, struct tt_span *again, const char **other)
{
    return row->is_persons && row->kind == TT_ROW_MISREAD && row->action == TT_DO_CHOOSE &&
           tt_row_reread(row, again, other) && *other;
}

bool tt_told_has_chosen(const struct tt_session_view *view)
{
    struct tt_span again;
    const char *other;
    for (size_t t = 0; t < view->count; t++)
        for (size_t r = 0; r < view->takes[t].sheet->count; r++)
            if (chooses_over_other(&view->takes[t].sheet->rows[r], &again, &other))
                return true;
    return false;
}

/* At least half of the phrase lies in the span. */
static bool lies_in(const struct tt_phrases *phrases, size_t phrase, struct tt_span span)
{
    const struct tt_phrase *p = &phrases->all[phrase];
    const double per_ms = phrases->view->takes[p->take].heard->facts.rate_hz / 1000.0;
    double from = (double)p->start_sample / per_ms, to = (double)p->end_sample / per_ms, length = to - from;
    if (from < (double)span.start_ms)
        from = (double)span.start_ms;
    if (to > (double)span.end_ms)
        to = (double)span.end_ms;
    return to - from >= 0.5 * length;
}

static void mark_chosen(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, size_t part,
                        const char *chosen_in, const char *other, struct tt_span again)
{
    for (size_t p = 0; p < phrases->count; p++)
        if (strcmp(phrases->view->takes[phrases->all[p].take].name, other) == 0 && lies_in(phrases, p, again))
            choices[p] = (struct tt_phrase_choice){.fate = TT_PHRASE_MISREAD,
                                                   .action = TT_DO_CUT,
                                                   .confidence = 1.0,
                                                   .chosen_in = chosen_in,
                                                   .part = part};
}

void tt_told_mark_chosen(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, size_t *parts)
{
    for (size_t t = 0; t < phrases->view->count; t++) {
        const struct tt_take_view *take = &phrases->view->takes[t];
        for (size_t r = 0; r < take->sheet->count; r++) {
            struct tt_span again;
            const char *other;
            if (chooses_over_other(&take->sheet->rows[r], &again, &other))
                mark_chosen(phrases, choices, ++*parts, take->name, other, again);
        }
    }
}

/* ---- knocked ---- */

/* The last phrase before the knocks in their take; count when there is none near enough. */
static size_t phrase_before(const struct tt_phrases *phrases, const struct tt_knocks *knocks)
{
    size_t found = phrases->count;
    for (size_t p = 0; p < phrases->count && phrases->all[p].take <= knocks->take; p++)
        if (phrases->all[p].take == knocks->take && phrases->all[p].end_sample <= knocks->start_sample)
            found = p;
    if (found == phrases->count)
        return found;
    double since_s = (double)(knocks->start_sample - phrases->all[found].end_sample) /
                     phrases->view->takes[knocks->take].heard->facts.rate_hz;
    return since_s <= knock_reach_s ? found : phrases->count;
}

/* The likeliest re-read of what ends with `last`; one that matches its very end comes before one that stops a little
 * earlier. */
static const struct tt_reread *reread_of(const struct tt_phrases *phrases, const struct tt_rereads *rereads,
                                         size_t last)
{
    const struct tt_reread *best = NULL;
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        bool is_near =
            reread->again > last && phrases->all[reread->again].start_s - phrases->all[last].end_s <= again_within_s;
        bool reaches = reread->first <= last && reread->last + UNMATCHED_PHRASES >= last &&
                       phrases->all[reread->first].take == phrases->all[last].take;
        if (!is_near || !reaches || reread->score < least_score)
            continue;
        bool is_at_end = reread->last >= last, best_is = best && best->last >= last;
        if (!best || (is_at_end && !best_is) || (is_at_end == best_is && reread->score > best->score))
            best = reread;
    }
    return best;
}

/* The start of the line that ends with `last`, not beyond an earlier knock. */
static size_t line_start(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices, size_t last,
                         int64_t earliest_sample)
{
    size_t first = last;
    while (first > 0 && phrases->all[first - 1].take == phrases->all[last].take &&
           choices[first - 1].fate == TT_PHRASE_STAYS && phrases->all[first - 1].start_sample >= earliest_sample &&
           phrases->all[first].start_s - phrases->all[first - 1].end_s < line_pause_s)
        first--;
    return first;
}

void tt_told_mark_knocked(const struct tt_phrases *phrases, const struct tt_knocks_found *knocks,
                          const struct tt_rereads *rereads, enum tt_row_action action, struct tt_phrase_choice *choices,
                          size_t *parts)
{
    for (size_t k = 0; k < knocks->count; k++) {
        size_t last = phrase_before(phrases, &knocks->all[k]);
        int64_t earliest = k > 0 && knocks->all[k - 1].take == knocks->all[k].take ? knocks->all[k - 1].end_sample : 0;
        if (last == phrases->count || choices[last].fate != TT_PHRASE_STAYS ||
            phrases->all[last].start_sample < earliest)
            continue;
        const struct tt_reread *reread = reread_of(phrases, rereads, last);
        size_t first = reread ? reread->first : line_start(phrases, choices, last, earliest), part = ++*parts;
        for (size_t p = first; p <= last; p++)
            if (choices[p].fate == TT_PHRASE_STAYS)
                choices[p] = (struct tt_phrase_choice){.fate = TT_PHRASE_MISREAD,
                                                       .action = action,
                                                       .confidence = knocked_certainty,
                                                       .reread = reread,
                                                       .is_knocked = true,
                                                       .part = part};
    }
}
