/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From what was chosen, phrase by phrase, to rows of the cut sheets: where each cut begins and ends. */
#ifndef TT_STAGES_MISREAD_ROWS_H
#define TT_STAGES_MISREAD_ROWS_H

#include "stages/rereads.h"

enum tt_phrase_fate { TT_PHRASE_STAYS, TT_PHRASE_MISREAD, TT_PHRASE_TALK, TT_PHRASE_TALK_ELSEWHERE };

/* What becomes of one phrase; neighbours with the same `part` share a row. */
struct tt_phrase_choice {
    enum tt_phrase_fate fate;
    enum tt_row_action action; /* TT_DO_CUT or TT_DO_ASK */
    double confidence;
    const struct tt_reread *reread; /* of a misread, and of the talk behind it; NULL when none is known */
    const char *chosen_in;          /* a person chose an earlier reading, in this take, over it */
    bool is_others;                 /* said into somebody else's microphone */
    bool is_knocked;                /* the narrator knocked behind it */
    size_t part;
};

/* Whether a misread that is known by its re-read begins with the phrase. */
static inline bool tt_phrase_starts_misread(const struct tt_phrase_choice *choices, size_t phrase)
{
    return choices[phrase].fate == TT_PHRASE_MISREAD && choices[phrase].reread &&
           choices[phrase].reread->first == phrase;
}

/* Proposes the rows of all takes. choices: one a phrase; actions may be changed to ask where too much would go at once.
 */
bool tt_misread_rows_propose(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, struct tt_error *err);

#endif
