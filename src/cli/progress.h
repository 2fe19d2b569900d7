/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How far a run is, on standard error: a bar on a terminal, else a line a take. */
#ifndef TT_CLI_PROGRESS_H
#define TT_CLI_PROGRESS_H

#include <signal.h>
#include <stdbool.h>
#include <time.h>

#include "tidytake/tidytake.h"

struct tt_progress {
    bool is_terminal, is_quiet;
    struct timespec started, last; /* last: drawn */
    bool has_bar;
    const volatile sig_atomic_t *was_interrupted; /* ends the run; borrowed */
};

struct tt_progress tt_progress_begin(bool is_quiet, const volatile sig_atomic_t *was_interrupted);
/* For tt_clean; borrows progress. */
struct tt_clean_watcher tt_progress_watcher(struct tt_progress *progress);
void tt_progress_end(struct tt_progress *progress); /* takes the bar away */

#endif
