/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the narrator himself has said about a reading: by a knock, or in the sheet of an earlier run. */
#ifndef TT_STAGES_TOLD_H
#define TT_STAGES_TOLD_H

#include "stages/knocks.h"
#include "stages/misread_rows.h"

/* Whether a person chose a reading over one in another take. */
bool tt_told_has_chosen(const struct tt_session_view *view);
/* Gives up the readings that lie in another take than the one a person chose over them. (Within a take the sheet itself
 * does.) */
void tt_told_mark_chosen(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, size_t *parts);

/* Gives up what was said before each knock: from where the re-read shows that it began, or from the start of that line.
 */
void tt_told_mark_knocked(const struct tt_phrases *phrases, const struct tt_knocks_found *knocks,
                          const struct tt_rereads *rereads, enum tt_row_action action, struct tt_phrase_choice *choices,
                          size_t *parts);

#endif
