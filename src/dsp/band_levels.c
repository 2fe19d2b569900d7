/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/band_levels.h"

#include <math.h>

#include "base/lanes.h"

/* Edges near the critical bands' doubling above 500 Hz, wide enough that noise stands still in each (methods: eight
 * bands 100-7800 Hz). */
static const double edges_hz[TT_BANDS + 1] = {100.0, 300.0, 600.0, 1000.0, 1600.0, 2500.0, 3700.0, 5300.0, 7800.0};
static const double highest_of_rate = 0.47, least_of_band = 0.4; /* a sliver of a band would sway too much */

struct tt_band_plan tt_band_plan_for(struct tt_stft_shape shape)
{
    struct tt_band_plan plan = {0};
    double bin_hz = (double)shape.rate_hz / shape.window_samples, top_hz = highest_of_rate * shape.rate_hz;
    plan.first_bin[0] = (int)ceil(edges_hz[0] / bin_hz);
    for (int b = 0; b < TT_BANDS; b++) {
        double high_hz = edges_hz[b + 1] < top_hz ? edges_hz[b + 1] : top_hz;
        int end = (int)ceil(high_hz / bin_hz), bins = end - plan.first_bin[plan.band_count];
        if (high_hz < edges_hz[b] + least_of_band * (edges_hz[b + 1] - edges_hz[b]) || bins < 2)
            break;
        plan.width_hz[plan.band_count++] = bins * bin_hz;
        plan.first_bin[plan.band_count] = end;
    }
    plan.bins_in_all = (float)(plan.first_bin[plan.band_count] - plan.first_bin[0]);
    return plan;
}

float tt_band_low_share(const struct tt_band_plan *plan)
{
    return (float)(plan->first_bin[2] - plan->first_bin[0]) / plan->bins_in_all;
}

TT_WIDE float tt_sum_of(const float *values, int count)
{
    tt_lanes lanes = {0}, part;
    float sum = 0.0f;
    int i = 0;
    for (; i + TT_LANES <= count; i += TT_LANES) {
        tt_lanes_load(&part, values + i);
        lanes += part;
    }
    for (; i < count; i++)
        sum += values[i];
    return sum + tt_lanes_sum(&lanes);
}

struct tt_band_powers tt_band_powers_of(const struct tt_band_plan *plan, const float *power, int bin_count)
{
    struct tt_band_powers powers = {0};
    float all = 0.0f;
    for (int b = 0; b < plan->band_count; b++) {
        int first = plan->first_bin[b], bins = plan->first_bin[b + 1] - first;
        float sum = tt_sum_of(power + first, bins);
        all += sum;
        powers.band[b] = sum / (float)bins;
    }
    int end = plan->first_bin[plan->band_count], begin = plan->first_bin[0];
    float rest = tt_sum_of(power, begin) + tt_sum_of(power + end, bin_count - end);
    powers.all = all / plan->bins_in_all;
    powers.whole = (all + rest) / (float)bin_count;
    return powers;
}

struct tt_band_powers tt_band_powers_smooth(const struct tt_band_powers recent[5], const bool have[5])
{
    static const float weights[5] = {1.0f, 2.0f, 3.0f, 2.0f, 1.0f};
    struct tt_band_powers sum = {0};
    float total = 0.0f;
    for (int i = 0; i < 5; i++) {
        if (!have[i])
            continue;
        total += weights[i];
        for (int b = 0; b < TT_BANDS; b++)
            sum.band[b] += weights[i] * recent[i].band[b];
        sum.all += weights[i] * recent[i].all;
        sum.whole += weights[i] * recent[i].whole;
    }
    if (total <= 0.0f)
        return sum;
    for (int b = 0; b < TT_BANDS; b++)
        sum.band[b] /= total;
    sum.all /= total;
    sum.whole /= total;
    return sum;
}
