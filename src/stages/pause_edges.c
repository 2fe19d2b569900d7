/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Levels and cepstra of the rows weigh all bands alike, so that a weak s is seen under noise that covers it in power.
 */
#include "stages/pause_edges.h"

#include <math.h>

#include "base/least.h"
#include "base/units.h"

/* The pause's own middle tells what its room does: steady, where nine rows in ten are within a decibel of the median
 * or under it (in a restless one more pairs of pauses came out turned). A word goes on where rows taken together are
 * farther from the middle's mean than its own rows are, by four of their deviations, but for one at a time. Of rows
 * two decibels louder a sixth more pairs came out turned, those within 80 ms not counted a quarter. */
enum { STEADY_DB = 1, ROWS_TOGETHER = 3, DEVIATIONS = 4, ROWS_APART = 2, MIDDLE_LEAST_ROWS = 6 };
/* Levels are kept in whole decibels: no room is steadier than that tells (mean square over the bands). */
static const double least_apart_db2 = 0.3;
static const double most_ms = 107;

enum { NUMBERS = 1 + TT_CEPSTRA };

/* What a row is, such that the sum of squares is a mean square over the bands in dB. */
struct place {
    double at[NUMBERS];
};

struct middle {
    int64_t start, end; /* rows; the last one inclusive */
    struct place mean;
    double limit_db2;
};

static struct place mean_of(const struct tt_heard *heard, int64_t start, int64_t end)
{
    const double step_db = tt_db_from_power(exp((double)tt_cepstra_step)) / sqrt(TT_MEL_BANDS);
    int64_t sums[NUMBERS] = {0};
    for (int64_t row = start; row <= end; row++) {
        sums[0] += heard->levels[row];
        for (int c = 0; c < TT_CEPSTRA; c++)
            sums[1 + c] += heard->cepstra[row * TT_CEPSTRA + c];
    }
    struct place mean;
    for (int i = 0; i < NUMBERS; i++)
        mean.at[i] = (i == 0 ? 1 : step_db) * (double)sums[i] / (double)(end - start + 1);
    return mean;
}

/* Of the rows from `row` on, in steps of one, taken together. */
static double apart_db2(const struct tt_heard *heard, int64_t row, int step, const struct place *from)
{
    const int64_t last = row + (ROWS_TOGETHER - 1) * step;
    const struct place place = mean_of(heard, tt_least(row, last), tt_most(row, last));
    double sum = 0;
    for (int i = 0; i < NUMBERS; i++)
        sum += (place.at[i] - from->at[i]) * (place.at[i] - from->at[i]);
    return sum;
}

/* The level that such a share of the rows lie at or under. */
static int level_at(const int64_t counts[256], int64_t total, double share)
{
    int64_t sum = 0;
    int level = -1;
    while (level < 255 && (double)sum <= share * (double)total)
        sum += counts[++level];
    return level - 128;
}

static bool is_steady(const struct tt_heard *heard, const struct middle *middle)
{
    const int64_t total = middle->end - middle->start + 1;
    int64_t counts[256] = {0};
    for (int64_t row = middle->start; row <= middle->end; row++)
        counts[heard->levels[row] + 128]++;
    return level_at(counts, total, 0.9) - level_at(counts, total, 0.5) <= STEADY_DB;
}

static void find_limit(const struct tt_heard *heard, struct middle *middle)
{
    const int64_t end = middle->end - (ROWS_TOGETHER - 1);
    const double count = (double)(end - middle->start + 1);
    double sum = 0, squares = 0;
    middle->mean = mean_of(heard, middle->start, middle->end);
    for (int64_t row = middle->start; row <= end; row++) {
        const double apart = apart_db2(heard, row, 1, &middle->mean);
        sum += apart;
        squares += apart * apart;
    }
    const double mean = sum / count;
    middle->limit_db2 = mean + DEVIATIONS * sqrt(fmax(squares / count - mean * mean, 0)) + least_apart_db2;
}

/* Rows from `row` on, in steps of one, as far as the word goes on. */
static int64_t rows_beyond(const struct tt_heard *heard, const struct middle *middle, int64_t row, int step,
                           int64_t most)
{
    int64_t last = 0;
    for (int64_t i = 1; i <= most && i - last <= ROWS_APART; i++)
        if (apart_db2(heard, row + i * step, step, &middle->mean) > middle->limit_db2)
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
    struct middle middle = {.start = start + third, .end = end - third};
    if (third < MIDDLE_LEAST_ROWS || !is_steady(heard, &middle))
        return 0;
    find_limit(heard, &middle);
    const int64_t most = tt_least(third, tt_frames_from_ms(most_ms, rate_hz) / hop);
    return tt_ms_from_frames(
        hop * (rows_beyond(heard, &middle, start, 1, most) + rows_beyond(heard, &middle, end, -1, most)), rate_hz);
}
