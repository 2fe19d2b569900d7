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

/* folder_sync.c. The slowest that is asked of a medium: another thread works meanwhile. */
bool tt_sync_waiting(int fd);
/* New names in a folder last through a power cut, now or, where folders are gathered, from tt_folders_settle on;
 * *folder may be taken over. errno says why not. */
bool tt_folder_make_last(char **folder);
void tt_folders_gather(void);
bool tt_folders_are_gathered(void);
bool tt_folders_settle(struct tt_error *err);

/* publish.c. What was written is on the medium; errno says why not. */
bool tt_publish_sync(const struct tt_publish *file);
/* The file gets its name, and is destroyed, also on failure. errno of what went before where is_ready is false. */
bool tt_publish_take_name(struct tt_publish *file, bool is_ready, struct tt_error *err);

/* gather.c. Has a small file wait for others, or publishes it at once. */
void tt_gather_file(struct tt_publish *file, struct tt_publish_owner owner);

#endif
