/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a killed run left half-written: its unpublished files, cleared by the next run on the same OUT. */
#ifndef TT_SESSION_LEFTOVERS_H
#define TT_SESSION_LEFTOVERS_H

/* Removes files that publishing had begun (".*.part") in out and in the folders that runs and comparisons write to.
 * Call with the lock on out held. */
void tt_leftovers_clear(const char *out);

#endif
