/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The rows of levels weigh all bands alike, so that a weak s is seen under noise that covers it in power. */
#include "stages/pause_edges.h"

#include "base/least.h"
#include "base/units.h"

/* The pause's own middle tells what its room does: steady, where nine rows in ten are within a decibel of the median
 * or under it. A word goes on where rows are two decibels over that, but for one at a time. Of the pairs of pauses that
 * came out turned in steady rooms a quarter did so by such edges; in a restless room more came out turned by them. */
enum { STEADY_DB = 1, OVER_DB = 2, ROWS_APART = 2, MIDDLE_LEAST_ROWS = 4 };
static const double most_ms = 107;

/* The level that such a share of the rows lie at or under. */
static int level_at(const int16_t counts[256], int64_t total, double share)
{
    int64_t sum = 0;
    int level = -1;
    while (level < 255 && (double)sum <= share * (double)total)
        sum += counts[++level];
    return level - 128;
}

/* Rows from `row` on, in steps of one, as far as the word goes on. */
static int64_t rows_beyond(const struct tt_heard *heard, int64_t row, int step, int64_t most, int least_db)
{
    int64_t last = 0;
    for (int64_t i = 1; i <= most && i - last <= ROWS_APART; i++)
        if (heard->levels[row + i * step] >= least_db)
            last = i;
    return last;
}

double tt_pause_edges_ms(const struct tt_heard *heard, double start_ms, double end_ms)
{
    const int rate_hz = heard->facts.rate_hz;
    const int64_t hop = heard->facts.feature_hop_samples;
    if (heard->feature_count == 0)
        return 0;
    const int64_t last = (int64_t)heard->feature_count - 1,
                  start = tt_least((tt_frames_from_ms(start_ms, rate_hz) + hop / 2) / hop, last),
                  end = tt_least((tt_frames_from_ms(end_ms, rate_hz) + hop / 2) / hop, last), third = (end - start) / 3;
    int16_t counts[256] = {0};
    if (third < MIDDLE_LEAST_ROWS || third > INT16_MAX / 2)
        return 0;
    for (int64_t row = start + third; row <= end - third; row++)
        counts[heard->levels[row] + 128]++;
    const int64_t total = end - start - 2 * third + 1;
    const int middle_db = level_at(counts, total, 0.5);
    if (level_at(counts, total, 0.9) - middle_db > STEADY_DB)
        return 0;
    const int64_t most = tt_least(third, tt_frames_from_ms(most_ms, rate_hz) / hop);
    return tt_ms_from_frames(hop * (rows_beyond(heard, start, 1, most, middle_db + OVER_DB) +
                                    rows_beyond(heard, end, -1, most, middle_db + OVER_DB)),
                             rate_hz);
}
