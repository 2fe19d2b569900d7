/* SPDX-License-Identifier: GPL-2.0-or-later */
/* --part K/N: a run that hears, then renders, its share of the takes only. Several such runs work on one OUT side by
 * side; what they leave is decided and put together by a whole run between and behind them. */
#ifndef TT_SESSION_PART_H
#define TT_SESSION_PART_H

#include "session/run.h"

/* Marks the takes of this run's share: every N-th, the longest files first, so that shares weigh about the same. All of
 * them in a whole run. */
bool tt_part_share(struct tt_run_state *run, struct tt_error *err);

/* Whether all takes that can be read were heard, so that sheets and gains are those of a whole run. */
bool tt_part_is_all_heard(const struct tt_run_state *run);

/* One run at a time works on a take. The lock dies with its process; a whole run holds all of OUT and needs none. */
enum { TT_PART_BUSY = -1, TT_PART_UNLOCKED = -2 };
int tt_part_lock(const struct tt_run_state *run, const struct tt_take *take);
void tt_part_unlock(const struct tt_run_state *run, const struct tt_take *take, int lock);

/* What this run did, for a person and for a program. */
bool tt_part_sum_up(struct tt_run_state *run, struct tt_clean_result *result, struct tt_error *err);

#endif
