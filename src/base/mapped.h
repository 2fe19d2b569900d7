/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a file holds, as memory that is only read: mapped, or read in where its file system cannot map. */
#ifndef TT_BASE_MAPPED_H
#define TT_BASE_MAPPED_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

struct tt_mapped {
    void *data; /* NULL: nothing is held */
    size_t size;
    bool is_copy;
};

/* All of a file of this size; name is for messages. fd may be closed afterwards. */
bool tt_mapped_open(int fd, size_t size, const char *name, struct tt_mapped *mapped, struct tt_error *err);
/* Memory that its pages took while they were read may go to others: what is read again comes from the file. For whoever
 * reads all of it once. */
void tt_mapped_let_go(const struct tt_mapped *mapped);
void tt_mapped_close(struct tt_mapped *mapped); /* zeroes it */

#endif
