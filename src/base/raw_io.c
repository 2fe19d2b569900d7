/* SPDX-License-Identifier: GPL-2.0-or-later */
#define _GNU_SOURCE /* sync_file_range, where there is one */
#include "base/raw_io.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"

#define TT_WEAK __attribute__((weak))

TT_WEAK ssize_t tt_raw_pwrite(int fd, const void *data, size_t size, int64_t offset)
{
    return pwrite(fd, data, size, (off_t)offset);
}

TT_WEAK ssize_t tt_raw_pread(int fd, void *data, size_t size, int64_t offset)
{
    return pread(fd, data, size, (off_t)offset);
}

TT_WEAK int tt_raw_fsync(int fd) { return fsync(fd); }

TT_WEAK int tt_raw_rename(const char *from, const char *to) { return rename(from, to); }

bool tt_write_all(int fd, const void *data, size_t size, int64_t offset)
{
    const char *left = data;
    while (size > 0) {
        ssize_t written = tt_raw_pwrite(fd, left, size, offset);
        if (written < 0 && errno == EINTR)
            continue;
        if (written <= 0) {
            if (written == 0)
                errno = ENOSPC; /* no progress and no reason given */
            return false;
        }
        left += written;
        size -= (size_t)written;
        offset += written;
    }
    return true;
}

int64_t tt_read_all(int fd, void *data, size_t size, int64_t offset)
{
    size_t got = 0;
    while (got < size) {
        ssize_t count = tt_raw_pread(fd, (char *)data + got, size - got, offset + (int64_t)got);
        if (count < 0 && errno == EINTR)
            continue;
        if (count < 0)
            return -1;
        if (count == 0)
            break;
        got += (size_t)count;
    }
    return (int64_t)got;
}

void tt_write_behind(int fd, int64_t offset, int64_t size)
{
#ifdef SYNC_FILE_RANGE_WRITE
    (void)sync_file_range(fd, (off_t)offset, (off_t)size,
                          SYNC_FILE_RANGE_WRITE); /* what goes wrong shows when it is synced */
#else
    (void)fd;
    (void)offset;
    (void)size;
#endif
}

bool tt_sync(int fd)
{
    while (tt_raw_fsync(fd) != 0) {
        if (errno == EINTR)
            continue;
        return errno == EINVAL || errno == ENOTSUP;
    }
    return true;
}

/* How many bytes of the name fit in front of the suffix, never half a UTF-8 character. */
static size_t fitting_length(const char *folder, const char *name, size_t suffix_length)
{
    long most = pathconf(folder, _PC_NAME_MAX);
    size_t name_max = most > 0 ? (size_t)most : NAME_MAX;
    size_t length = strlen(name), room = name_max > suffix_length + 1 ? name_max - suffix_length - 1 : 0;
    if (length <= room)
        return length;
    while (room > 0 && ((unsigned char)name[room] & 0xC0) == 0x80)
        room--;
    return room;
}

int tt_part_open(const char *folder, const char *name, mode_t mode, char **part_path)
{
    enum { MOST_TRIES = 100000 };
    *part_path = NULL;
    /* Taken names are passed over: another thread's, or what a run that was killed has left. */
    for (int counter = 0; counter < MOST_TRIES; counter++) {
        char suffix[64];
        int suffix_length = snprintf(suffix, sizeof suffix, ".%ld-%d.part", (long)getpid(), counter);
        int length = (int)fitting_length(folder, name, (size_t)suffix_length);
        char *part_name = tt_format(".%.*s%s", length, name, suffix);
        char *path = part_name ? tt_path_join(folder, part_name) : NULL;
        free(part_name);
        if (!path) {
            errno = ENOMEM;
            return -1;
        }
        int fd;
        do
            fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, mode);
        while (fd < 0 && errno == EINTR);
        if (fd >= 0) {
            *part_path = path;
            return fd;
        }
        int reason = errno;
        free(path);
        errno = reason;
        if (reason != EEXIST)
            return -1;
    }
    return -1;
}
