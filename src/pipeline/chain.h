/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The chain: which stages there are, top to bottom in the direction of the signal. */
#ifndef TT_PIPELINE_CHAIN_H
#define TT_PIPELINE_CHAIN_H

#include "stages/stage.h"

enum { TT_STAGE_COUNT = 6 };
extern const struct tt_stage *const tt_chain[TT_STAGE_COUNT];

#endif
