/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The names of a session's files as they stand in a CSV, to look them up by. */
#ifndef TT_SESSION_CLEAN_NAMES_H
#define TT_SESSION_CLEAN_NAMES_H

#include "session/takes.h"

struct tt_clean_name {
    char *clean;
    size_t file;
};
struct tt_clean_names {
    struct tt_clean_name *all;
    size_t count;
}; /* by name, then by file */

bool tt_clean_names_open(const struct tt_take_list *list, struct tt_clean_names *names, struct tt_error *err);
/* The first that is called so, if one is; those that read alike follow it. */
size_t tt_clean_names_find(const struct tt_clean_names *names, const char *name);
void tt_clean_names_free(struct tt_clean_names *names);

#endif
