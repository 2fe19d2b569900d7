/* SPDX-License-Identifier: GPL-2.0-or-later */
/* With --for: what was delivered, against the limits of its target. What fails becomes a warning that names what helps.
 */
#ifndef TT_SESSION_JUDGING_H
#define TT_SESSION_JUDGING_H

#include "session/run.h"

enum { TT_HELD_BACK_CHARS = 200 };

void tt_session_judge_track(struct tt_run_state *run, const char *name, const struct tt_after *after, int rate_hz,
                            int64_t frames);
/* What to say of a voice or track that its peaks kept so much under what it is compared with; false where nobody would
 * miss it. */
bool tt_held_back_say(const struct tt_settings *settings, double missing_db, const char *under, char *text,
                      size_t size);
/* Each voice, where each has a gain of its own. */
void tt_session_judge_voices(struct tt_run_state *run);

#endif
