/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_BASE_LARGE_H
#define TT_BASE_LARGE_H

#include <stddef.h>

/* Memory of some MiB that is written through once: in huge pages where the system has them to give, since each small
 * page costs a fault (in a virtual machine as much as writing it to a file). NULL where there is none; to be freed by
 * free. */
void *tt_alloc_large(size_t bytes);

/* Zeros that begin with one of the memory's lines: a vector across two lines takes twice as long to fetch. NULL where
 * there is none; to be freed by free. */
void *tt_alloc_lines(size_t bytes);

#endif
