/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What of a session a run depends on, as it lies on the disk at one moment: takes, its settings, and the files that a
 * person may edit. */
#ifndef TT_SESSION_SNAPSHOT_H
#define TT_SESSION_SNAPSHOT_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

struct tt_snapshot_file {
    char *path;
    long long size, modified_ns, inode;
};
struct tt_snapshot {
    struct tt_snapshot_file *files; /* by path */
    size_t count;
    size_t take_count;
    long long newest_ns; /* latest modification of any of them, system clock */
};

/* folder: the session; out: where its results lie, or would lie. A folder that cannot be read gives an empty snapshot.
 * Symbolic links that lead out of the folder are not followed. */
bool tt_snapshot_take(const char *folder, const char *out, struct tt_snapshot *snapshot, struct tt_error *err);
bool tt_snapshot_equal(const struct tt_snapshot *a, const struct tt_snapshot *b);
void tt_snapshot_free(struct tt_snapshot *snapshot);

#endif
