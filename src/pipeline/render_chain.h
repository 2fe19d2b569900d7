/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The signal's way through all stages at full length, over one thread or several: the same bits. */
#ifndef TT_PIPELINE_RENDER_CHAIN_H
#define TT_PIPELINE_RENDER_CHAIN_H

#include "pipeline/render.h"
#include "pipeline/sink.h"

struct tt_render_chain;
/* The request is borrowed; the sink gets what comes out, on the caller's thread. most_samples: the longest block that
 * is added. */
struct tt_render_chain *tt_render_chain_open(const struct tt_render_request *request, size_t most_samples, tt_sink sink,
                                             void *context, struct tt_error *err);
/* Of the take: what the chain wants and the sink gets, in this order. The end is a second behind what is used where not
 * all of the take is. */
int64_t tt_render_chain_start(const struct tt_render_chain *chain);
int64_t tt_render_chain_end(const struct tt_render_chain *chain);
bool tt_render_chain_add(struct tt_render_chain *chain, const float *samples, size_t count, struct tt_error *err);
bool tt_render_chain_finish(struct tt_render_chain *chain, struct tt_error *err);
void tt_render_chain_close(struct tt_render_chain *chain); /* NULL is fine */

#endif
