/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Folders are synced behind what was published in them: at once, or once for all between tt_publish_gather and
 * tt_publish_settle (base/gather.c). */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/publish_parts.h"
#include "base/raw_io.h"
#include "base/turns.h"

enum { FOLDERS_MOST = 8 }; /* a take's files lie in few folders */

static _Thread_local struct {
    bool is_on;
    size_t count;
    char *folders[FOLDERS_MOST];
} gathered;

bool tt_sync_waiting(int fd)
{
    tt_turn_lend();
    const bool is_synced = tt_sync(fd);
    const int reason = errno;
    tt_turn_take_back();
    errno = reason;
    return is_synced;
}

/* A folder that may be written but not read cannot be synced. */
static bool sync_folder(const char *folder)
{
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return errno == EACCES;
    bool is_synced = tt_sync_waiting(fd);
    int reason = errno;
    close(fd);
    errno = reason;
    return is_synced;
}

void tt_folders_gather(void) { gathered.is_on = true; }

bool tt_folders_are_gathered(void) { return gathered.is_on; }

bool tt_folder_make_last(char **folder)
{
    for (size_t i = 0; i < gathered.count; i++)
        if (strcmp(gathered.folders[i], *folder) == 0)
            return true;
    if (!gathered.is_on || gathered.count == FOLDERS_MOST)
        return sync_folder(*folder);
    gathered.folders[gathered.count++] = *folder;
    *folder = NULL;
    return true;
}

bool tt_folders_settle(struct tt_error *err)
{
    bool ok = true;
    for (size_t i = 0; i < gathered.count; i++) {
        if (!sync_folder(gathered.folders[i]))
            ok = tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: files are written, but the folder cannot be synced",
                               gathered.folders[i]);
        free(gathered.folders[i]);
    }
    gathered.count = 0;
    gathered.is_on = false;
    return ok;
}
