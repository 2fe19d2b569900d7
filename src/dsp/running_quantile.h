/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Low and high quantiles of levels in a sliding window, from a histogram: adding and taking away cost nothing. */
#ifndef TT_DSP_RUNNING_QUANTILE_H
#define TT_DSP_RUNNING_QUANTILE_H

#include <stdint.h>

/* Half-decibel steps from -140 dB up; what lies outside goes into the outermost ones. */
enum { TT_LEVEL_STEPS = 320, TT_LEVEL_GROUP = 16 };

/* Start from {0}. Steps come from tt_level_step. */
struct tt_running_quantile {
    uint16_t counts[TT_LEVEL_STEPS];
    uint16_t groups[TT_LEVEL_STEPS / TT_LEVEL_GROUP]; /* sums of so many steps each, to look faster */
    int total;                                        /* at most 65535 */
};

int tt_level_step(float level_db);
float tt_level_of_step(int step); /* the middle of a step */
void tt_running_quantile_add(struct tt_running_quantile *window, int step);
void tt_running_quantile_remove(struct tt_running_quantile *window, int step); /* one that was added */
/* The level below which the share (0..1) of the window lies, interpolated within its step; -INFINITY when the window is
 * empty. */
float tt_running_quantile_at(const struct tt_running_quantile *window, double share);

#endif
