/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How phrases end: drawn out and falling, as sentences do, or cut off. */
#ifndef TT_STAGES_PHRASE_ENDS_H
#define TT_STAGES_PHRASE_ENDS_H

#include "stages/phrases.h"

struct tt_phrase_end {
    double fall_db;    /* by which its last 0.15 s lie under the phrase: cut in mid-word it hardly falls */
    double syllable_s; /* from its last syllable's peak to its end, up to 0.5 */
    double fading_s;   /* from where it can no longer be heard well to where it is gone */
};

struct tt_phrase_end tt_phrase_end_of(const struct tt_phrases *phrases, size_t phrase);

/* Whether an end that falls off so far may be that of a whole line. */
bool tt_phrase_end_falls(double fall_db);

#endif
