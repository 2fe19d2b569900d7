/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Any two recordings of one reading side by side, on a page like that of a take. */
#ifndef TT_SESSION_COMPARE_H
#define TT_SESSION_COMPARE_H

#include "audio/reader.h"

struct tt_compare_request {
    const char *before, *after; /* paths */
    const char *out;            /* NULL: AFTER.compare */
    tt_go_on go_on;             /* false ends it with TT_ERROR_STOPPED; may be NULL */
    void *context;
};
struct tt_compared {
    char *page;
    char sentence[300];
}; /* the page's path, the caller's to free; how they fit */

/* Recordings that do not belong together are an error that says so. The recordings are only read. */
bool tt_compare(const struct tt_compare_request *request, struct tt_compared *compared, struct tt_error *err);

#endif
