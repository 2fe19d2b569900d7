/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Which files of a folder are takes, in which order, and what they are called in OUT. */
#ifndef TT_SESSION_TAKES_H
#define TT_SESSION_TAKES_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

#include "base/fail.h"
#include "report/report.h"

struct tt_take_file {
    char *name; /* file name */
    char *stem; /* unique in the session: the name without its ending, or the whole name where two takes share a stem */
    char *path; /* absolute */
};
struct tt_take_list {
    char *folder; /* absolute, of the takes */
    char *name;   /* of the session: the folder's last part */
    struct tt_take_file *files;
    size_t count;
    size_t passed_over;                                 /* files that are no takes */
    char *passed_over_names[TT_MOST_PASSED_OVER_NAMES]; /* the first of them by name */
    char camera[128]; /* one of these that is a camera's or a phone's, which this build does not read; "" without any */
    size_t camera_count;
    char *default_out; /* absolute */
    bool is_chosen;    /* takes were named one by one, and the folder may hold more */
};

/* One folder, or sound files of one folder. Natural order of names. An error when there is none, or when the folder is
 * one of ours. */
bool tt_takes_list(const char *const *sources, size_t count, bool without_links, struct tt_take_list *list,
                   struct tt_error *err);
void tt_takes_free(struct tt_take_list *list);

#endif
