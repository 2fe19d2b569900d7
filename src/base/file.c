/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Whole small files, folders and paths. */
#include "base/publish_parts.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"

enum { CHUNK_BYTES = 16384 };

/* read, not pread: a settings file may be a pipe. */
static ssize_t read_some(int fd, void *data, size_t size)
{
    ssize_t got;
    do
        got = read(fd, data, size);
    while (got < 0 && errno == EINTR);
    return got;
}

static int open_to_read(const char *path)
{
    int fd;
    do
        fd = open(path, O_RDONLY | O_CLOEXEC);
    while (fd < 0 && errno == EINTR);
    return fd;
}

static bool holds_already(const char *path, const char *data, size_t size)
{
    struct stat there;
    if (stat(path, &there) != 0 || !S_ISREG(there.st_mode) || (uint64_t)there.st_size != size)
        return false;
    int fd = open_to_read(path);
    if (fd < 0)
        return false;
    char chunk[CHUNK_BYTES];
    size_t compared = 0;
    bool is_same = true;
    while (is_same) {
        ssize_t got = read_some(fd, chunk, sizeof chunk);
        if (got <= 0) {
            is_same = got == 0 && compared == size;
            break;
        }
        is_same = (size_t)got <= size - compared && memcmp(chunk, data + compared, (size_t)got) == 0;
        compared += (size_t)got;
    }
    close(fd);
    return is_same;
}

/* A file with this content, without its name yet. */
static struct tt_publish *write_part(const char *path, const void *data, size_t size, struct tt_error *err)
{
    struct tt_publish *file = tt_publish_open(path, err);
    if (file && !tt_publish_write(file, data, size, err)) {
        tt_publish_abandon(file);
        return NULL;
    }
    return file;
}

bool tt_file_write(const char *path, const void *data, size_t size, struct tt_error *err)
{
    if (holds_already(path, data, size))
        return true;
    struct tt_publish *file = write_part(path, data, size, err);
    return file && tt_publish_commit(file, err);
}

void tt_file_write_among(const char *path, const void *data, size_t size, struct tt_publish_owner owner)
{
    struct tt_error error = {0};
    const bool is_there = holds_already(path, data, size);
    struct tt_publish *file = is_there ? NULL : write_part(path, data, size, &error);
    if (file)
        tt_gather_file(file, owner);
    else
        owner.ended(owner.context, is_there ? NULL : &error);
}

static bool read_text(int fd, const char *path, size_t most, struct tt_text *text, struct tt_error *err)
{
    char chunk[CHUNK_BYTES];
    for (;;) {
        ssize_t got = read_some(fd, chunk, sizeof chunk);
        if (got < 0)
            return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be read", path);
        tt_text_add_bytes(text, chunk, (size_t)got); /* also makes room for the NUL of an empty file */
        if (text->has_failed)
            return tt_fail_memory(err);
        if (text->length > most)
            return tt_fail(err, TT_ERROR_INPUT,
                           "%s: is larger than such a file can be (%zu bytes); is it the right one?", path, most);
        if (got == 0)
            return true;
    }
}

bool tt_file_read(const char *path, size_t most, char **data, size_t *size, struct tt_error *err)
{
    *data = NULL;
    *size = 0;
    int fd = open_to_read(path);
    if (fd < 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be read", path);
    struct tt_text text = {0};
    bool is_read = read_text(fd, path, most, &text, err);
    close(fd);
    if (!is_read) {
        tt_text_free(&text);
        return false;
    }
    *data = text.data;
    *size = text.length;
    return true;
}

bool tt_file_remove(const char *path, struct tt_error *err)
{
    return unlink(path) == 0 || errno == ENOENT || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", path);
}

bool tt_file_exists(const char *path)
{
    struct stat there;
    return stat(path, &there) == 0;
}

long long tt_file_time_ns(struct timespec time) { return (long long)time.tv_sec * 1000000000LL + time.tv_nsec; }

bool tt_folder_next(DIR *folder, const char *path, struct dirent **entry, struct tt_error *err)
{
    errno = 0;
    *entry = readdir(folder);
    return *entry || errno == 0 ||
           tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: this folder cannot be read to its end", path);
}

static bool is_folder(const char *path)
{
    struct stat there;
    return stat(path, &there) == 0 && S_ISDIR(there.st_mode);
}

static bool make_one(const char *path, struct tt_error *err)
{
    /* Looked at first: for a folder that exists, mkdir may say read-only or forbidden instead of EEXIST. */
    if (is_folder(path))
        return true;
    if (mkdir(path, 0777) == 0)
        return true;
    int reason = errno;
    if (reason == EEXIST && is_folder(path))
        return true; /* another thread was first */
    if (reason == EEXIST)
        return tt_fail(err, TT_ERROR_OUTPUT,
                       "%s: cannot be made a folder: a file of that name is in the way; move it away", path);
    return tt_fail_errno(err, TT_ERROR_OUTPUT, reason, "%s: cannot make this folder", path);
}

bool tt_folder_make(const char *path, struct tt_error *err)
{
    if (is_folder(path))
        return true;
    char *partial = tt_copy_string(path);
    if (!partial)
        return tt_fail_memory(err);
    bool is_made = true;
    for (char *slash = partial; is_made && (slash = strchr(slash + (*slash != '\0'), '/')) != NULL;) {
        *slash = '\0';
        if (*partial)
            is_made = make_one(partial, err);
        *slash = '/';
    }
    if (is_made)
        is_made = make_one(partial, err);
    free(partial);
    return is_made;
}
