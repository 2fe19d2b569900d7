/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A temporary file of float samples without a name: it vanishes with the process, however that ends. The first samples
 * stay in memory: a short take never goes through the file. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/large.h"
#include "base/raw_io.h"
#include "base/text.h"

enum { HEAD_MOST = TT_SCRATCH_IN_MEMORY };

struct tt_scratch {
    int fd;
    float
        *head; /* the first samples, HEAD_MOST at most; the file has the others, each where it would be if it had all */
    char *folder; /* for messages */
    int64_t count, read_at;
};

int tt_unnamed_open(const char *folder, struct tt_error *err)
{
    char *path = NULL;
    int fd = tt_part_open(folder, "scratch", 0600, &path);
    if (fd < 0)
        tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: cannot make a temporary file here", folder);
    else if (unlink(path) != 0) { /* a file that stays would outlive us */
        tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s: cannot take the name off a temporary file", path);
        close(fd);
        fd = -1;
    }
    free(path);
    return fd;
}

struct tt_scratch *tt_scratch_open(const char *folder, struct tt_error *err)
{
    struct tt_scratch *scratch = calloc(1, sizeof *scratch);
    if (scratch)
        scratch->fd = -1;
    if (!scratch || !(scratch->folder = tt_copy_string(folder)))
        tt_fail_memory(err);
    else if ((scratch->fd = tt_unnamed_open(folder, err)) >= 0)
        return scratch;
    tt_scratch_close(scratch);
    return NULL;
}

/* Keeps what belongs into the head, and goes on to what does not. */
static bool keep_head(struct tt_scratch *scratch, const float **samples, size_t *count, struct tt_error *err)
{
    size_t have = (size_t)scratch->count, part = *count < HEAD_MOST - have ? *count : HEAD_MOST - have;
    if (!scratch->head && !(scratch->head = tt_alloc_large(HEAD_MOST * sizeof *scratch->head)))
        return tt_fail_memory(err);
    memcpy(scratch->head + have, *samples, part * sizeof **samples);
    scratch->count += (int64_t)part;
    *samples += part;
    *count -= part;
    return true;
}

bool tt_scratch_add(struct tt_scratch *scratch, const float *samples, size_t count, struct tt_error *err)
{
    if (count > 0 && scratch->count < HEAD_MOST && !keep_head(scratch, &samples, &count, err))
        return false;
    if (count == 0)
        return true;
    int64_t most = INT64_MAX / (int64_t)sizeof *samples - scratch->count;
    int reason = 0;
    if (count > (uint64_t)most || count > SIZE_MAX / sizeof *samples)
        reason = EFBIG;
    else if (!tt_write_all(scratch->fd, samples, count * sizeof *samples, scratch->count * (int64_t)sizeof *samples))
        reason = errno;
    if (reason)
        return tt_fail_errno(err, TT_ERROR_OUTPUT, reason, "%s: cannot write a temporary file here", scratch->folder);
    scratch->count += (int64_t)count;
    return true;
}

void tt_scratch_rewind(struct tt_scratch *scratch) { scratch->read_at = 0; }

int64_t tt_scratch_read(struct tt_scratch *scratch, float *samples, size_t count, struct tt_error *err)
{
    int64_t left = scratch->count - scratch->read_at;
    size_t wanted = (uint64_t)left < count ? (size_t)left : count, in_head = 0;
    if (wanted > 0 && scratch->read_at < HEAD_MOST) {
        in_head = (size_t)(HEAD_MOST - scratch->read_at) < wanted ? (size_t)(HEAD_MOST - scratch->read_at) : wanted;
        memcpy(samples, scratch->head + scratch->read_at, in_head * sizeof *samples);
    }
    int64_t bytes = (int64_t)((wanted - in_head) * sizeof *samples), at = scratch->read_at + (int64_t)in_head;
    int64_t got =
        bytes > 0 ? tt_read_all(scratch->fd, samples + in_head, (size_t)bytes, at * (int64_t)sizeof *samples) : 0;
    if (got != bytes) {
        tt_fail_errno(err, TT_ERROR_OUTPUT, got < 0 ? errno : EIO, "%s: cannot read back a temporary file",
                      scratch->folder);
        return -1;
    }
    scratch->read_at += (int64_t)wanted;
    return (int64_t)wanted;
}

void tt_scratch_close(struct tt_scratch *scratch)
{
    if (!scratch)
        return;
    if (scratch->fd >= 0)
        close(scratch->fd);
    free(scratch->head);
    free(scratch->folder);
    free(scratch);
}
