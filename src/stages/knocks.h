/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two knocks within a second: the narrator says that what he just read was wrong. */
#ifndef TT_STAGES_KNOCKS_H
#define TT_STAGES_KNOCKS_H

#include <stdbool.h>
#include <stddef.h>

#include "stages/stage.h"

/* Knocks that belong together, from the first one's beginning to the last one's end. */
struct tt_knocks {
    size_t take;
    int64_t start_sample, end_sample;
};
struct tt_knocks_found {
    struct tt_knocks *all;
    size_t count, capacity;
};

/* In the order of the session. What was taken for a very short run of speech is looked at as well. */
bool tt_knocks_find(const struct tt_session_view *view, struct tt_knocks_found *found, struct tt_error *err);
void tt_knocks_free(struct tt_knocks_found *found); /* zeroes it */

/* Whether a run is one of them, and thus no speech. found may be NULL. */
bool tt_knocks_hold(const struct tt_knocks_found *found, size_t take, const struct tt_run *run);

/* Proposes rows that take the knocks out, where no row does so yet. */
bool tt_knocks_propose(const struct tt_session_view *view, const struct tt_knocks_found *found, struct tt_error *err);

#endif
