/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/large.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

static const size_t huge_page = (size_t)1 << 21; /* of x86-64 and of arm64 with pages of 4 KiB */

void *tt_alloc_large(size_t bytes)
{
    if (bytes > SIZE_MAX - huge_page)
        return NULL;
    const size_t whole = (bytes + huge_page - 1) / huge_page * huge_page;
    void *memory = aligned_alloc(huge_page, whole);
#ifdef MADV_HUGEPAGE
    if (memory)
        (void)madvise(memory, whole, MADV_HUGEPAGE); /* advice: it may be declined */
#endif
    return memory;
}

void *tt_alloc_lines(size_t bytes)
{
    const size_t line = 64, whole = bytes / line * line + line;
    void *memory = whole > bytes ? aligned_alloc(line, whole) : NULL;
    if (memory)
        memset(memory, 0, whole);
    return memory;
}
