/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Links one behind the other. */
#ifndef TT_PIPELINE_LINK_ROW_H
#define TT_PIPELINE_LINK_ROW_H

#include "dsp/link.h"
#include "pipeline/chain.h"
#include "pipeline/sink.h"

struct tt_link_row {
    struct tt_link links[TT_STAGE_COUNT + 1]; /* filled by the caller, destroyed by tt_link_row_close */
    size_t count;
    tt_sink sink;
    void *context;
    float *buffers[2];
};

/* When all links are there. most_samples: the longest block that is added. */
bool tt_link_row_open(struct tt_link_row *row, size_t most_samples, struct tt_error *err);
/* A tt_sink. */
bool tt_link_row_add(void *row, const float *samples, size_t count, struct tt_error *err);
/* What the links still hold comes out. */
bool tt_link_row_finish(struct tt_link_row *row, struct tt_error *err);
void tt_link_row_close(struct tt_link_row *row); /* of {0} it does nothing */

#endif
