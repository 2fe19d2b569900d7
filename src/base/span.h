/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A stretch of a recording. */
#ifndef TT_BASE_SPAN_H
#define TT_BASE_SPAN_H

#include <stdint.h>

struct tt_span_frames {
    int64_t start, end;
}; /* end is exclusive */
struct tt_span_samples {
    int64_t start, end;
};

#endif
