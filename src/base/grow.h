/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Arrays that grow by doubling. */
#ifndef TT_BASE_GROW_H
#define TT_BASE_GROW_H

#include <stddef.h>

#include "base/fail.h"

/* The items, with room for one more than `count`: they may have moved, and *capacity may have grown. NULL without
 * memory: then all is as it was. Items of NULL and a capacity of 0 begin an array; to be freed by free. */
void *tt_grow(void *items, size_t count, size_t *capacity, size_t item_size, struct tt_error *err);

/* The same for lists that stay short and keep no capacity: room for just one more. */
void *tt_grow_by_one(void *items, size_t count, size_t item_size, struct tt_error *err);

#endif
