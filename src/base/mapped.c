/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/mapped.h"

#include <errno.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>

#include "base/raw_io.h"

static bool read_in(int fd, size_t size, const char *name, struct tt_mapped *mapped, struct tt_error *err)
{
    void *data = malloc(size);
    if (!data)
        return tt_fail_memory(err);
    const int64_t got = tt_read_all(fd, data, size, 0);
    if (got != (int64_t)size) {
        tt_fail_errno(err, TT_ERROR_INPUT, got < 0 ? errno : EIO, "%s: cannot be read", name);
        free(data);
        return false;
    }
    *mapped = (struct tt_mapped){.data = data, .size = size, .is_copy = true};
    return true;
}

bool tt_mapped_open(int fd, size_t size, const char *name, struct tt_mapped *mapped, struct tt_error *err)
{
    *mapped = (struct tt_mapped){0};
    if (size == 0) /* which cannot be mapped */
        return true;
    void *data = mmap(NULL, size, PROT_READ, MAP_PRIVATE, fd, 0);
    if (data == MAP_FAILED)
        return read_in(fd, size, name, mapped, err);
    *mapped = (struct tt_mapped){.data = data, .size = size};
    return true;
}

void tt_mapped_let_go(const struct tt_mapped *mapped)
{
    if (mapped->data && !mapped->is_copy)
        (void)madvise(mapped->data, mapped->size, MADV_DONTNEED); /* advice: it may be declined */
}

void tt_mapped_close(struct tt_mapped *mapped)
{
    if (mapped->data && !mapped->is_copy)
        munmap(mapped->data, mapped->size);
    else
        free(mapped->data);
    *mapped = (struct tt_mapped){0};
}
