/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/chain.h"

/* Top to bottom is the order of hearing, of deciding and of the signal. A new stage is one file and one line here. */
const struct tt_stage *const tt_chain[TT_STAGE_COUNT] = {
    &tt_stage_floor, &tt_stage_gate, &tt_stage_misreads, &tt_stage_breaths, &tt_stage_pauses, &tt_stage_loudness,
};
