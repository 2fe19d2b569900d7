/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Cuts a stream into the units of a link, has several threads run them, and lays what comes out end to end. */
#ifndef TT_PIPELINE_UNIT_ROW_H
#define TT_PIPELINE_UNIT_ROW_H

#include "dsp/link.h"
#include "pipeline/sink.h"

struct tt_unit_row;
/* The stream: where it begins, and how long it is. threads: as many as the link has workers, the caller's among them.
 * link is borrowed. */
struct tt_unit_row *tt_unit_row_open(const struct tt_unit_link *link, int64_t start_sample, int64_t length,
                                     size_t threads, tt_sink sink, void *context, struct tt_error *err);
/* A tt_sink. */
bool tt_unit_row_add(void *row, const float *samples, size_t count, struct tt_error *err);
/* Returns when the sink has got everything. */
bool tt_unit_row_finish(struct tt_unit_row *row, struct tt_error *err);
void tt_unit_row_close(struct tt_unit_row *row); /* NULL is fine */

#endif
