/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Room for what a run writes, asked for before anything is written. */
#ifndef TT_SESSION_SPACE_H
#define TT_SESSION_SPACE_H

#include "session/run.h"

/* An error when the run needs more than is free where OUT is. */
bool tt_session_check_space(struct tt_run_state *run, struct tt_error *err);

/* What a run that made everything would need at most, in bytes. */
double tt_space_needed(const struct tt_run_state *run);
/* The error names the place and both sizes. */
bool tt_space_is_enough(const char *place, double needed_bytes, double free_bytes, struct tt_error *err);
/* Whether a folder lies on a medium that the system takes for removable; sysfs is "/sys". */
bool tt_space_is_removable(const char *folder, const char *sysfs);

/* A warning when OUT lies on the same removable medium as the recordings. */
void tt_session_check_medium(struct tt_run_state *run, const char *sysfs);

#endif
