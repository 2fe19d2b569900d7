/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"

static void finish(struct sha256_ctx *context, char hex[65])
{
    static const char digits[] = "0123456789abcdef";
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_digest(context, sizeof digest, digest);
    for (int i = 0; i < SHA256_DIGEST_SIZE; i++) {
        hex[2 * i] = digits[digest[i] >> 4];
        hex[2 * i + 1] = digits[digest[i] & 15];
    }
    hex[2 * SHA256_DIGEST_SIZE] = '\0';
}

void tt_sha256(const void *data, size_t size, char hex[65])
{
    struct sha256_ctx context;
    sha256_init(&context);
    if (size)
        sha256_update(&context, size, data);
    finish(&context, hex);
}

struct tt_file_digest {
    int fd;
    char *path;
    int64_t position; /* bytes in the digest so far */
    struct sha256_ctx context;
};

/* More than what stands between a header's chunks; less than what is worth being read twice. */
static const int64_t widest_gap = 1 << 16;

struct tt_file_digest *tt_file_digest_open(const char *path, struct tt_error *err)
{
    struct tt_file_digest *digest = calloc(1, sizeof *digest);
    if (!digest || !(digest->path = tt_copy_string(path))) {
        free(digest);
        tt_fail_memory(err);
        return NULL;
    }
    sha256_init(&digest->context);
    digest->fd = open(path, O_RDONLY | O_CLOEXEC);
    if (digest->fd >= 0)
        return digest;
    tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be read", path);
    tt_file_digest_close(digest);
    return NULL;
}

void tt_file_digest_close(struct tt_file_digest *digest)
{
    if (!digest)
        return;
    if (digest->fd >= 0)
        close(digest->fd);
    free(digest->path);
    free(digest);
}

static void add(struct tt_file_digest *digest, const void *data, size_t size)
{
    sha256_update(&digest->context, size, data);
    digest->position += (int64_t)size;
}

/* The next bytes from the file; how many, 0 at its end, -1 with the reason in errno. */
static ssize_t read_on(struct tt_file_digest *digest, int64_t most)
{
    uint8_t chunk[32768];
    const size_t wanted = most < (int64_t)sizeof chunk ? (size_t)most : sizeof chunk;
    ssize_t got;
    do
        got = pread(digest->fd, chunk, wanted, (off_t)digest->position);
    while (got < 0 && errno == EINTR);
    if (got > 0)
        add(digest, chunk, (size_t)got);
    return got;
}

void tt_file_digest_show(void *opaque, int64_t offset, const void *data, size_t size)
{
    struct tt_file_digest *digest = opaque;
    const int64_t end = offset + (int64_t)size;
    if (offset - digest->position <= widest_gap)
        while (digest->position < offset && read_on(digest, offset - digest->position) > 0)
            ;
    if (offset <= digest->position && digest->position < end)
        add(digest, (const uint8_t *)data + (digest->position - offset), (size_t)(end - digest->position));
}

bool tt_file_digest_finish(struct tt_file_digest *digest, tt_go_on go_on, void *context, char hex[65],
                           struct tt_error *err)
{
    ssize_t got;
    hex[0] = '\0';
    while ((got = read_on(digest, INT64_MAX)) > 0)
        if (go_on && !go_on(context))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
    if (got < 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be read", digest->path);
    finish(&digest->context, hex);
    return true;
}

bool tt_file_sha256(const char *path, char hex[65], struct tt_error *err)
{
    return tt_file_sha256_while(path, NULL, NULL, hex, err);
}

bool tt_file_sha256_while(const char *path, tt_go_on go_on, void *context, char hex[65], struct tt_error *err)
{
    hex[0] = '\0';
    struct tt_file_digest *digest = tt_file_digest_open(path, err);
    bool ok = digest && tt_file_digest_finish(digest, go_on, context, hex, err);
    tt_file_digest_close(digest);
    return ok;
}
