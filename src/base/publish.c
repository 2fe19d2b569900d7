/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Files that appear whole or not at all. */
#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/publish_parts.h"
#include "base/raw_io.h"
#include "base/text.h"

enum { SEND_BYTES = 8 << 20 }; /* a long voice of some hundred MB took 0.3 s to sync at its end */

static void destroy(struct tt_publish *file)
{
    free(file->path);
    free(file->folder);
    free(file->part_path);
    free(file);
}

void tt_publish_abandon(struct tt_publish *file)
{
    if (!file)
        return;
    if (file->fd >= 0)
        close(file->fd);
    if (file->part_path)
        unlink(file->part_path);
    destroy(file);
}

/* What would only fail at the final rename, perhaps after an hour's work, is refused here. */
static bool check_path(const struct tt_publish *file, struct tt_error *err)
{
    struct stat there;
    const char *path = file->path;
    if (!*tt_path_name(path))
        return tt_fail(err, TT_ERROR_OUTPUT, "%s: cannot be written: no file name", path);
    if (stat(path, &there) == 0 && S_ISDIR(there.st_mode))
        return tt_fail(err, TT_ERROR_OUTPUT, "%s: cannot be written: a folder of that name is in the way; move it away",
                       path);
    long most = pathconf(file->folder, _PC_NAME_MAX);
    if (strlen(tt_path_name(path)) > (most > 0 ? (size_t)most : NAME_MAX))
        return tt_fail_errno(err, TT_ERROR_OUTPUT, ENAMETOOLONG, "%s: cannot be written", path);
    return true;
}

static char *folder_of(const char *path)
{
    const char *name = tt_path_name(path);
    if (name == path)
        return tt_copy_string(".");
    size_t length = (size_t)(name - path);
    while (length > 1 && path[length - 1] == '/')
        length--;
    return tt_format("%.*s", (int)length, path);
}

struct tt_publish *tt_publish_open(const char *path, struct tt_error *err)
{
    struct tt_publish *file = calloc(1, sizeof *file);
    if (!file) {
        tt_fail_memory(err);
        return NULL;
    }
    file->fd = -1;
    if (strlen(path) >= INT_MAX)
        tt_fail_errno(err, TT_ERROR_OUTPUT, ENAMETOOLONG, "cannot be written");
    else if (!(file->path = tt_copy_string(path)) || !(file->folder = folder_of(path)))
        tt_fail_memory(err);
    else if (check_path(file, err)) {
        file->fd = tt_part_open(file->folder, tt_path_name(path), 0666, &file->part_path);
        if (file->fd >= 0)
            return file;
        tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: cannot be written", path);
    }
    tt_publish_abandon(file);
    return NULL;
}

struct tt_publish *tt_publish_open_unnamed(const char *folder, struct tt_error *err)
{
    struct tt_publish *file = calloc(1, sizeof *file);
    if (file)
        file->fd = -1;
    if (!file || !(file->path = tt_copy_string(folder)))
        tt_fail_memory(err);
    else if ((file->fd = tt_unnamed_open(folder, err)) >= 0)
        return file;
    tt_publish_abandon(file);
    return NULL;
}

bool tt_publish_write(struct tt_publish *file, const void *data, size_t size, struct tt_error *err)
{
    int reason = 0;
    if (size > (uint64_t)(INT64_MAX - file->at))
        reason = EFBIG;
    else if (!tt_write_all(file->fd, data, size, file->at))
        reason = errno;
    if (reason) {
        if (!file->failed_errno)
            file->failed_errno = reason;
        return tt_fail_errno(err, TT_ERROR_OUTPUT, reason, "%s: cannot be written", file->path);
    }
    file->at += (int64_t)size;
    if (size > 0 && file->at > file->size)
        file->size = file->at;
    if (file->at - file->sent >= SEND_BYTES) {
        tt_write_behind(file->fd, file->sent, file->at - file->sent);
        file->sent = file->at;
    }
    return true;
}

bool tt_publish_seek(struct tt_publish *file, int64_t offset, int whence, struct tt_error *err)
{
    int64_t from = whence == SEEK_CUR ? file->at : whence == SEEK_END ? file->size : 0;
    bool is_whence = whence == SEEK_SET || whence == SEEK_CUR || whence == SEEK_END;
    if (!is_whence || offset > INT64_MAX - from || from + offset < 0)
        return tt_fail(err, TT_ERROR_INTERNAL, "%s: seek to an impossible place", file->path);
    file->at = from + offset;
    return true;
}

int64_t tt_publish_tell(const struct tt_publish *file) { return file->at; }

int64_t tt_publish_size(const struct tt_publish *file) { return file->size; }

int64_t tt_publish_read(struct tt_publish *file, void *data, size_t size, struct tt_error *err)
{
    int64_t got = tt_read_all(file->fd, data, size, file->at);
    if (got < 0) {
        tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: cannot be read back", file->path);
        return -1;
    }
    file->at += got;
    return got;
}

/* Some file systems tell only at close that the disk is full. After EINTR Linux has closed all the same. */
static bool close_checked(struct tt_publish *file)
{
    int fd = file->fd;
    file->fd = -1;
    return close(fd) == 0 || errno == EINTR;
}

static bool is_written(const struct tt_publish *file)
{
    errno = file->failed_errno;
    return file->failed_errno == 0;
}

bool tt_publish_sync(const struct tt_publish *file) { return is_written(file) && tt_sync_waiting(file->fd); }

static bool rename_checked(struct tt_publish *file, bool is_ready, struct tt_error *err)
{
    if (is_ready && close_checked(file) && tt_raw_rename(file->part_path, file->path) == 0)
        return true;
    tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: cannot be written", file->path);
    tt_publish_abandon(file);
    return false;
}

bool tt_publish_take_name(struct tt_publish *file, bool is_ready, struct tt_error *err)
{
    if (!rename_checked(file, is_ready, err))
        return false;
    const bool is_lasting = tt_folder_make_last(&file->folder);
    if (!is_lasting)
        tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: is written, but its folder cannot be synced", file->path);
    destroy(file);
    return is_lasting;
}

bool tt_publish_commit(struct tt_publish *file, struct tt_error *err)
{
    return tt_publish_take_name(file, tt_publish_sync(file), err);
}

bool tt_publish_commit_unsynced(struct tt_publish *file, struct tt_error *err)
{
    const bool ok = rename_checked(file, is_written(file), err);
    if (ok)
        destroy(file);
    return ok;
}

bool tt_publish_map(struct tt_publish *file, struct tt_mapped *mapped, struct tt_error *err)
{
    *mapped = (struct tt_mapped){0};
    const bool ok = is_written(file) ? tt_mapped_open(file->fd, (size_t)file->size, file->path, mapped, err)
                                     : tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: cannot be written", file->path);
    tt_publish_abandon(file);
    return ok;
}
