/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within publishing: a file under way, and the steps to its name. */
#ifndef TT_BASE_PUBLISH_PARTS_H
#define TT_BASE_PUBLISH_PARTS_H

#include "base/file.h"

struct tt_publish {
    int fd;
    char *path, *folder, *part_path;
    int64_t at, size;
    int64_t sent;     /* so much of it is under way to its medium */
    int failed_errno; /* a write went wrong: commit refuses, even if the caller did not look */
};

/* What was written is on the medium; errno says why not. */
bool tt_publish_sync(const struct tt_publish *file);
/* The file gets its name, and is destroyed, also on failure. errno of what went before where is_ready is false. */
bool tt_publish_take_name(struct tt_publish *file, bool is_ready, struct tt_error *err);
/* Makes new names last through a power cut. */
bool tt_publish_sync_folder(const char *folder);

/* gather.c. Takes the folder over where it is a new one; false: it has to be synced now. */
bool tt_gather_folder(struct tt_publish *file);
/* Has a small file wait for others, or publishes it at once. */
void tt_gather_file(struct tt_publish *file, struct tt_publish_owner owner);

#endif
