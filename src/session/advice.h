/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a session says about itself once it is decided: advice, never a decision. */
#ifndef TT_SESSION_ADVICE_H
#define TT_SESSION_ADVICE_H

#include "session/run.h"

/* vanished.c. Before a run's first decision: what the last run cut because another take said it again. */
bool tt_vanished_remember(struct tt_run_state *run, struct tt_error *err);
/* Afterwards: says which of these lines are in again. */
void tt_vanished_tell(struct tt_run_state *run);

/* neighbours.c: takes whose room, voice colour or distance differ from the others. */
bool tt_neighbours_tell(struct tt_run_state *run, struct tt_error *err);

/* torn.c: takes that may be one recording in two files. */
void tt_torn_tell(struct tt_run_state *run);

/* pickups.c: takes that say again what was said earlier; asked about, never done. */
bool tt_pickups_propose(struct tt_run_state *run, struct tt_error *err);

#endif
