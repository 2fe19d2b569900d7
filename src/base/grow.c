/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/grow.h"

#include <stdint.h>
#include <stdlib.h>

enum { FIRST_ITEMS = 16 };

void *tt_grow(void *items, size_t count, size_t *capacity, size_t item_size, struct tt_error *err)
{
    if (count < *capacity)
        return items;
    const size_t more = *capacity ? 2 * *capacity : FIRST_ITEMS;
    void *moved = more > *capacity && more <= SIZE_MAX / item_size ? realloc(items, more * item_size) : NULL;
    if (moved)
        *capacity = more;
    else
        tt_fail_memory(err);
    return moved;
}

void *tt_grow_by_one(void *items, size_t count, size_t item_size, struct tt_error *err)
{
    void *moved = count < SIZE_MAX / item_size ? realloc(items, (count + 1) * item_size) : NULL;
    if (!moved)
        tt_fail_memory(err);
    return moved;
}
