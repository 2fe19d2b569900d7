/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where nobody speaks in a finished voice: there the floor that is left is measured. */
#ifndef TT_PIPELINE_QUIET_SPANS_H
#define TT_PIPELINE_QUIET_SPANS_H

#include "pipeline/quiet_meter.h"
#include "sheet/heard.h"
#include "sheet/time_map.h"

struct tt_quiet_spans {
    struct tt_span_samples *spans; /* rising; freed by the caller */
    size_t count;
};

/* Stretches of the voice at least a guard away from runs, and without breaths, in its own samples; without clicks and
 * noises, too, unless these (and what may be a breath, and may be one) are wanted as part of the room. */
bool tt_quiet_spans_find(const struct tt_heard *heard, const struct tt_time_map *map, int out_rate_hz, bool with_noises,
                         struct tt_quiet_spans *quiet, struct tt_error *err);

#endif
