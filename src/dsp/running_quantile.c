/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/running_quantile.h"

#include <math.h>

static const float lowest_db = -140.0f;
static const float steps_per_db = 2.0f;

int tt_level_step(float level_db)
{
    float step = (level_db - lowest_db) * steps_per_db;
    if (!(step > 0.0f))
        return 0;
    return step >= (float)(TT_LEVEL_STEPS - 1) ? TT_LEVEL_STEPS - 1 : (int)step;
}

float tt_level_of_step(int step) { return lowest_db + ((float)step + 0.5f) / steps_per_db; }

void tt_running_quantile_add(struct tt_running_quantile *window, int step)
{
    window->counts[step]++;
    window->groups[step / TT_LEVEL_GROUP]++;
    window->total++;
}

void tt_running_quantile_remove(struct tt_running_quantile *window, int step)
{
    window->counts[step]--;
    window->groups[step / TT_LEVEL_GROUP]--;
    window->total--;
}

float tt_running_quantile_at(const struct tt_running_quantile *window, double share)
{
    if (window->total <= 0)
        return -INFINITY;
    double wanted = share * window->total, below = 0.0;
    int group = 0;
    while (group + 1 < TT_LEVEL_STEPS / TT_LEVEL_GROUP && below + window->groups[group] < wanted)
        below += window->groups[group++];
    for (int step = group * TT_LEVEL_GROUP; step < TT_LEVEL_STEPS; step++) {
        double here = window->counts[step];
        if (here > 0.0 && below + here >= wanted) {
            double part = (wanted - below) / here;
            return lowest_db + ((float)step + (float)part) / steps_per_db;
        }
        below += here;
    }
    return lowest_db + (float)TT_LEVEL_STEPS / steps_per_db;
}
