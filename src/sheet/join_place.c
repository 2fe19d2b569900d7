/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/join_place.h"

#include "base/least.h"
#include "base/units.h"

/* Of joins in a recorded restless room that lie in pauses 24 of 248 stood out of its own changes (above their 99th
 * percentile of spectral flux) where they were made in the middle, 6 of 283 moved by up to so much. */
static const double farthest_ms = 200;
/* What is off its place must be worth it: alike within so little is alike. */
static const float db_a_ms = 0.005f;

struct leeway join_leeway_most(int rate_hz)
{
    const int64_t farthest = tt_frames_from_ms(farthest_ms, rate_hz);
    return (struct leeway){farthest, farthest};
}

static void hold_edge(struct leeway *leeway, const struct part *sound, int64_t edge)
{
    if (sound->start < edge)
        leeway->back = tt_least(leeway->back, edge - sound->end);
    if (sound->end > edge)
        leeway->ahead = tt_least(leeway->ahead, sound->start - edge);
}

void join_hold_beside(struct leeway *leeway, const struct part *sound, const struct part *gone)
{
    hold_edge(leeway, sound, gone->start);
    hold_edge(leeway, sound, gone->end);
}

static float rows_apart_db(const struct tt_heard *heard, int64_t a, int64_t b)
{
    const int64_t last = (int64_t)heard->feature_count - 1;
    a = tt_least(a < 0 ? 0 : a, last);
    b = tt_least(b, last);
    return tt_cepstra_apart_db(heard->cepstra + a * TT_CEPSTRA, heard->levels[a], heard->cepstra + b * TT_CEPSTRA,
                               heard->levels[b]);
}

/* What is mixed at the join, and what is heard just before and just behind it. */
static float apart_db(const struct tt_heard *heard, const struct part *gone)
{
    const int64_t hop = heard->facts.feature_hop_samples, a = (gone->start + hop / 2) / hop,
                  b = (gone->end + hop / 2) / hop;
    return 0.5f * (rows_apart_db(heard, a, b) + rows_apart_db(heard, a - 1, b + 1));
}

float join_place(const struct tt_heard *heard, const struct leeway *leeway, struct part *gone)
{
    const int rate_hz = heard->facts.rate_hz;
    const int64_t hop = heard->facts.feature_hop_samples;
    if (heard->feature_count == 0)
        return 0;
    const struct part from = *gone;
    float best = apart_db(heard, gone);
    for (int64_t off = hop; off <= leeway->back || off <= leeway->ahead; off += hop)
        for (int sign = -1; sign <= 1; sign += 2) {
            const struct part moved = {from.start + sign * off, from.end + sign * off};
            if (off > (sign < 0 ? leeway->back : leeway->ahead))
                continue;
            const float worth = apart_db(heard, &moved) + db_a_ms * (float)tt_ms_from_frames(off, rate_hz);
            if (worth < best) {
                best = worth;
                *gone = moved;
            }
        }
    return best;
}
