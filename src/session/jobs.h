/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The same work on many items by a few threads, the heaviest first. Results do not depend on the number of threads:
 * each item has its own place. */
#ifndef TT_SESSION_JOBS_H
#define TT_SESSION_JOBS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

/* Works on item; errors are the item's own business. */
typedef void (*tt_job)(void *context, size_t item);

/* weights[item] > 0 tells how heavy each is; items with weight 0 are left out. Returns when all are done, and what they
 * published outlasts a power cut (base/file.h). threads <= 0: as many as processors. So many work at once; of more than
 * one, those that wait for their medium let others work (base/turns.h). */
bool tt_jobs_run(size_t item_count, const double *weights, int threads, tt_job job, void *context,
                 struct tt_error *err);

/* Whether there are processors enough for two to each item: three threads then work on one, and keep two busy. */
bool tt_jobs_have_spare(size_t item_count, const double *weights, int threads);

int tt_processor_count(void);

#endif
