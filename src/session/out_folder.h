/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Whether a folder may be written to: a recording must never be overwritten, by whatever way its name leads there. */
#ifndef TT_SESSION_OUT_FOLDER_H
#define TT_SESSION_OUT_FOLDER_H

#include "session/takes.h"

/* out is absolute and resolved; it need not be there yet. */
bool tt_out_is_safe(const char *out, const struct tt_take_list *list, struct tt_error *err);

/* The folder with the results of a run: the one that is named, or the one that goes with the session that is named. To
 * be freed. */
char *tt_out_find(const char *place, struct tt_error *err);

#endif
