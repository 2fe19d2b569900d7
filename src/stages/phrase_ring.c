/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/phrase_ring.h"

#include <math.h>

/* A room is heard for so long at most before it is as quiet as the end of a word. */
static const double longest_s = 0.6;
/* What falls slower than this share of the decay is the voice's own. */
static const double least_share = 0.7;

/* Backwards from the end the level rises as steeply as the room decays until the voice is met, and no further: there a
 * line of a lesser slope lies farthest under it. */
double tt_phrase_ring_s(const struct tt_heard *heard, int64_t start_sample, int64_t end_sample)
{
    if (!tt_heard_decays_under(&heard->facts, TT_RINGS_UNDER_DB_PER_S))
        return 0.0;
    const int64_t hop = heard->facts.feature_hop_samples, first = (start_sample + hop - 1) / hop;
    const double row_s = (double)hop / heard->facts.rate_hz, slope = least_share * heard->facts.decay_db_per_s * row_s;
    int64_t last = end_sample / hop, best = 0;
    if (last >= (int64_t)heard->feature_count)
        last = (int64_t)heard->feature_count - 1;
    double most = -INFINITY;
    for (int64_t k = 0; last - k >= first && (double)k * row_s <= longest_s; k++) {
        double over = (double)heard->levels[last - k] - (double)k * slope;
        if (over > most) {
            most = over;
            best = k;
        }
    }
    return (double)best * row_s;
}

void tt_phrase_leave_out_ring(const struct tt_heard *heard, struct tt_phrase *phrase)
{
    phrase->ring_s = tt_phrase_ring_s(heard, phrase->loud_start_sample, phrase->loud_end_sample);
    phrase->loud_end_sample -= (int64_t)(phrase->ring_s * heard->facts.rate_hz);
}
