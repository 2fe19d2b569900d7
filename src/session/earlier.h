/* SPDX-License-Identifier: GPL-2.0-or-later */
/* OUT/earlier/: narrations that a new, different one replaced, and OUT/edit/changes.csv: what moved by that. */
#ifndef TT_SESSION_EARLIER_H
#define TT_SESSION_EARLIER_H

#include "report/layout.h"
#include "session/run.h"

/* Where a new narration is written first; freshly allocated. A run that dies leaves it to tt_leftovers_clear. */
char *tt_earlier_waiting_path(const struct tt_run_state *run);
/* Puts the waiting narration in its place. One that lay there goes to OUT/earlier/narration-NNNN, when its bytes
 * differ; run->replaced tells. The oldest go past deliver.keep_earlier, but none that was made with deliver.hold. */
bool tt_earlier_replace(struct tt_run_state *run, const char *waiting, const char *path, struct tt_error *err);

/* A narration of ours that none replaces in its place goes to OUT/earlier/, too. */
bool tt_earlier_retire(struct tt_run_state *run, const char *path, struct tt_error *err);

/* What earlier runs left and this one makes no more: voices in another kind of file go, pieces that nobody wants now go
 * to OUT/earlier/pieces/. Only what session.json says that we made. */
bool tt_session_clear_outdated(struct tt_run_state *run, struct tt_error *err);

/* Writes OUT/edit/changes.csv where this run's narration differs from the last one; else what is there stays. */
bool tt_session_show_changes(struct tt_run_state *run, const struct tt_session_report *session,
                             const struct json_t *layout, struct tt_error *err);

#endif
