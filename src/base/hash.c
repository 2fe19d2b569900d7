/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <errno.h>
#include <fcntl.h>
#include <nettle/sha2.h>
#include <unistd.h>

#include "base/file.h"

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

bool tt_file_sha256(const char *path, char hex[65], struct tt_error *err)
{
    return tt_file_sha256_while(path, NULL, NULL, hex, err);
}

bool tt_file_sha256_while(const char *path, tt_go_on go_on, void *context_of_go_on, char hex[65], struct tt_error *err)
{
    uint8_t chunk[32768];
    bool is_stopped = false;
    struct sha256_ctx context;
    hex[0] = '\0';
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be read", path);
    sha256_init(&context);
    ssize_t got = 0;
    while (!is_stopped && (got = read(fd, chunk, sizeof chunk)) != 0) {
        is_stopped = go_on && !go_on(context_of_go_on);
        if (got > 0)
            sha256_update(&context, (size_t)got, chunk);
        else if (errno != EINTR)
            break;
    }
    int reason = errno;
    close(fd);
    if (is_stopped)
        return tt_fail(err, TT_ERROR_STOPPED, "stopped");
    if (got < 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, reason, "%s: cannot be read", path);
    finish(&context, hex);
    return true;
}
