/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Gains: one for all takes recorded alike, or one for each. */
#ifndef TT_STAGES_LOUDNESS_H
#define TT_STAGES_LOUDNESS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/settings.h"
#include "sheet/heard.h"
#include "sheet/time_map.h"

/* What one take brings to the decision; map without stretches: nothing of it is left. */
struct tt_gain_take {
    const struct tt_heard *heard;
    const struct tt_time_map *map;
    double gain_db;       /* decided; NAN: exact to the target when it is rendered (across = take) */
    double expected_lufs; /* of its voice at gain 0, from what was heard; -INFINITY for silence */
    bool is_apart;        /* lies more than 3 LU from the others: a gain of its own */
};

/* Decides gain_db of every take. earlier_common_db is the common gain of the last run for the same target (NAN: none);
 * it is kept while it is within 0.2 LU of what would be decided now. *common_db is NAN with across = take or without
 * any speech. */
bool tt_loudness_decide(struct tt_gain_take *takes, size_t count, const struct tt_settings *settings,
                        double earlier_common_db, double *common_db, struct tt_error *err);

/* Weight of the delivered channels in BS.1770: 2 for dual (+3.01 LU), else 1. */
double tt_channel_weight(const struct tt_settings *settings);

/* Gain that brings levels to the target of the settings (LUFS or RMS), NAN when there is nothing to measure. */
double tt_gain_to_target_db(const struct tt_levels *levels, const struct tt_settings *settings);

#endif
