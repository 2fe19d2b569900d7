/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a thread publishes between tt_publish_gather and tt_publish_settle, where it need not last before the next
 * begins: folders are synced once, small files in lots. A journal brings a lot to the medium about as fast as one file
 * (1,000 files by themselves .55 s, in lots .14 s). */
#include <errno.h>

#include "base/publish_parts.h"
#include "base/raw_io.h"

enum { LOT = 16 }; /* each holds a descriptor, in each of some threads */

struct waiting {
    struct tt_publish *file;
    struct tt_publish_owner owner;
};

static _Thread_local struct {
    size_t count;
    struct waiting files[LOT];
} gathered;

void tt_publish_gather(void) { tt_folders_gather(); }

static void finish(const struct waiting *waiting, int sync_errno)
{
    const struct tt_publish_owner *owner = &waiting->owner;
    struct tt_error error = {0};
    if (!sync_errno && owner->may_appear && !owner->may_appear(owner->context)) {
        tt_publish_abandon(waiting->file);
        owner->ended(owner->context, NULL);
        return;
    }
    errno = sync_errno;
    const bool is_there = tt_publish_take_name(waiting->file, sync_errno == 0, &error);
    owner->ended(owner->context, is_there ? NULL : &error);
}

static void finish_lot(void)
{
    int sync_errno[LOT];
    for (size_t i = 0; i < gathered.count; i++)
        sync_errno[i] = tt_publish_sync(gathered.files[i].file) ? 0 : errno;
    for (size_t i = 0; i < gathered.count; i++)
        finish(&gathered.files[i], sync_errno[i]);
    gathered.count = 0;
}

void tt_gather_file(struct tt_publish *file, struct tt_publish_owner owner)
{
    const struct waiting waiting = {file, owner};
    if (!tt_folders_are_gathered()) {
        finish(&waiting, tt_publish_sync(file) ? 0 : errno);
        return;
    }
    tt_write_behind(file->fd, file->sent, file->size - file->sent);
    gathered.files[gathered.count++] = waiting;
    if (gathered.count == LOT)
        finish_lot();
}

bool tt_publish_settle(struct tt_error *err)
{
    finish_lot();
    return tt_folders_settle(err);
}
