/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Talk elsewhere than between a misread and its re-read: slates, the listener, chat at head and tail. */
#ifndef TT_STAGES_TALK_H
#define TT_STAGES_TALK_H

#include "stages/misread_rows.h"

/* Marks what somebody else said into a microphone of their own, whatever its level in the narrator's. Before misreads
 * are chosen: it is no line. parts: how many are in use, counted on. */
void tt_talk_choose_others(const struct tt_phrases *phrases, const struct tt_settings *settings,
                           struct tt_phrase_choice *choices, size_t *parts);

/* Marks, of what stays and replaces nothing (wanted: for each phrase), what is much fainter than the lines, or somewhat
 * fainter and apart from them at an end of its take. */
void tt_talk_choose(const struct tt_phrases *phrases, const struct tt_settings *settings, const bool *wanted,
                    struct tt_phrase_choice *choices, size_t *parts);

#endif
