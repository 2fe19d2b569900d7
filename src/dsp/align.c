/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/align.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/wide.h"

/* One minute a stretch at 94 rows a second. */
enum { MOST_ROWS = 5632 };
/* All scores of an alignment are kept for its path: 4 MiB, enough for half a minute within the usual beam. */
enum { MOST_CELLS = 1 << 20 };
/* Rows of cells are some thirty long: they are filled up to whole registers of 16-bit numbers, which takes less time
 * than a rest done one by one. */
enum { ROUND = 32 };

static const float no_path = -1e9f;
static const float bend_cost = 0.2f; /* of a step that is not diagonal: measured on re-readings, see the tests */

/* Scores of the cells (x, low .. high - 1) of one row of x, kept from cells[at] on. */
struct band {
    int low, high;
    size_t at;
};

struct tt_align {
    float *cells;
    struct band *bands;         /* MOST_ROWS */
    struct tt_align_end *ends;  /* MOST_ROWS */
    int16_t *likeness;          /* of one row of x with rows of y, MOST_ROWS and ROUND */
    float *reach[2];            /* padded copies of the two bands before, MOST_ROWS + 4 and ROUND */
    struct tt_align_cell *path; /* MOST_ROWS */
};

struct tt_align *tt_align_create(struct tt_error *err)
{
    struct tt_align *align = calloc(1, sizeof *align);
    if (align) {
        align->cells = malloc((MOST_CELLS + ROUND) * sizeof *align->cells);
        align->bands = malloc(MOST_ROWS * sizeof *align->bands);
        align->ends = malloc(MOST_ROWS * sizeof *align->ends);
        align->likeness = calloc(MOST_ROWS + ROUND, sizeof *align->likeness);
        align->path = malloc(MOST_ROWS * sizeof *align->path);
        for (int k = 0; k < 2; k++)
            align->reach[k] = calloc(MOST_ROWS + 4 + ROUND, sizeof *align->reach[k]);
    }
    if (!align || !align->cells || !align->bands || !align->ends || !align->likeness || !align->path ||
        !align->reach[0] || !align->reach[1]) {
        tt_align_destroy(align);
        tt_fail_memory(err);
        return NULL;
    }
    return align;
}

void tt_align_destroy(struct tt_align *align)
{
    if (!align)
        return;
    free(align->cells);
    free(align->bands);
    free(align->ends);
    free(align->likeness);
    free(align->path);
    for (int k = 0; k < 2; k++)
        free(align->reach[k]);
    free(align);
}

TT_WIDE void tt_align_row(const float vector[TT_ALIGN_LANES], int16_t *row, size_t lane_stride)
{
    int rounded[TT_ALIGN_LANES];
    float square = 0.0f;
    for (int l = 0; l < TT_ALIGN_LANES; l++)
        square += vector[l] * vector[l];
    float scale = square > 0.0f ? (float)TT_ALIGN_LENGTH / sqrtf(square) : 0.0f;
    for (int l = 0; l < TT_ALIGN_LANES; l++) {
        const float number = vector[l] * scale;
        rounded[l] = (int)(number + (number < 0.0f ? -0.5f : 0.5f));
    }
    for (int l = 0; l < TT_ALIGN_LANES; l++)
        row[(size_t)l * lane_stride] = (int16_t)rounded[l];
}

/* Every partial sum stays within 180 * 180, so 16 bits never overflow; unsigned, as compilers
 * then multiply eight (or sixteen) rows at once. */
TT_WIDE void tt_align_compare(const struct tt_align_rows *rows, size_t x, size_t y, int count,
                              int16_t *restrict likeness)
{
    uint16_t a[TT_ALIGN_LANES];
    const uint16_t *b[TT_ALIGN_LANES];
    for (size_t l = 0; l < TT_ALIGN_LANES; l++) {
        a[l] = (uint16_t)rows->numbers[l * rows->stride + x];
        b[l] = (const uint16_t *)(rows->numbers + l * rows->stride + y);
    }
#define TERM(l) (unsigned)(uint16_t)((unsigned)a[l] * b[l][k])
    for (int k = 0; k < count; k++)
        likeness[k] =
            (int16_t)(uint16_t)(TERM(0) + TERM(1) + TERM(2) + TERM(3) + TERM(4) + TERM(5) + TERM(6) + TERM(7) +
                                TERM(8) + TERM(9) + TERM(10) + TERM(11) + TERM(12) + TERM(13) + TERM(14) + TERM(15));
#undef TERM
}

static float score_at(const struct tt_align *align, const struct band *band, int y)
{
    return y >= band->low && y < band->high ? align->cells[band->at + (size_t)(y - band->low)] : no_path;
}

/* What a path may come from: the band's scores laid over low .. high - 1, no_path beyond it. */
static void lay_out(const struct tt_align *align, const struct band *band, int low, int high, float *reach)
{
    int from = band->low > low ? band->low : low, to = band->high < high ? band->high : high;
    if (to <= from)
        from = to = high;
    for (int y = low; y < from; y++)
        reach[y - low] = no_path;
    memcpy(reach + (from - low), align->cells + band->at + (from - band->low), (size_t)(to - from) * sizeof *reach);
    for (int y = to; y < high; y++)
        reach[y - low] = no_path;
}

TT_WIDE static void score_cells(const float *restrict before, const float *restrict two_before,
                                const int16_t *restrict likeness, float tau, float *restrict cells, int count)
{
    const float scale = 1.0f / TT_ALIGN_SAME;
    for (int k = 0; k < count; k++) {
        float gain = (float)likeness[k] * scale - tau;
        float straight = before[k + 1] + 2.0f * gain;
        float bent = before[k] > two_before[k] ? before[k] : two_before[k];
        bent += 3.0f * gain - bend_cost;
        cells[k] = straight > bent ? straight : bent;
    }
}

/* Of the count cells, which the caller has filled up to ROUND. */
TT_WIDE static float highest_of(const float *cells, int count)
{
    tt_lanes highest, part;
    float best = no_path;
    for (int l = 0; l < TT_LANES; l++)
        highest[l] = no_path;
    for (int k = 0; k < count; k += TT_LANES) {
        tt_lanes_load(&part, cells + k);
        const tt_lane_bits is_higher = part > highest;
        highest = (tt_lanes)(((tt_lane_bits)part & is_higher) | ((tt_lane_bits)highest & ~is_higher));
    }
    for (int l = 0; l < TT_LANES; l++)
        best = highest[l] > best ? highest[l] : best;
    return best;
}

/* As many rows of y as the lanes certainly hold. */
static int rounded(const struct tt_align_task *task, int low, int count)
{
    const int whole = (count + ROUND - 1) / ROUND * ROUND;
    return task->y_start + (size_t)(low + whole) <= task->rows.stride ? whole : count;
}

/* The scores of row x over low .. high - 1, into cells at band->at. Returns the best. */
static float fill_row(struct tt_align *align, const struct tt_align_task *task, int x, struct band *band)
{
    const int count = band->high - band->low, whole = (count + ROUND - 1) / ROUND * ROUND;
    tt_align_compare(&task->rows, task->x_start + (size_t)x, task->y_start + (size_t)band->low,
                     rounded(task, band->low, count), align->likeness);
    static const struct band none = {0, 0, 0};
    lay_out(align, x >= 1 ? &align->bands[x - 1] : &none, band->low - 2, band->high, align->reach[0]);
    lay_out(align, x >= 2 ? &align->bands[x - 2] : &none, band->low - 1, band->high, align->reach[1]);
    const int16_t *likeness = align->likeness;
    float *cells = align->cells + band->at;
    score_cells(align->reach[0], align->reach[1], likeness, task->tau, cells, whole);
    for (int k = count; k < whole; k++)
        cells[k] = no_path;
    int slack = task->slack_rows; /* where a path may begin */
    for (int y = band->low; y < band->high && y <= slack; y++)
        if (x == 0 || (y == 0 && x <= slack)) {
            float start = 2.0f * ((float)likeness[y - band->low] * (1.0f / TT_ALIGN_SAME) - task->tau);
            if (start > cells[y - band->low])
                cells[y - band->low] = start;
        }
    return highest_of(cells, count);
}

/* The cells of row x that can be reached; empty when none. */
static struct band band_of(const struct tt_align *align, const struct tt_align_task *task, int x, size_t used)
{
    int low = 0, high = 0, most = (int)(task->y_end - task->y_start);
    bool has = false;
    for (int back = 1; back <= 2 && back <= x; back++) {
        const struct band *band = &align->bands[x - back];
        if (band->high <= band->low)
            continue;
        int from = band->low + 1, to = band->high + (back == 1 ? 2 : 1);
        low = has && low < from ? low : from;
        high = has && high > to ? high : to;
        has = true;
    }
    if (x <= task->slack_rows) {
        low = 0;
        int to = x == 0 ? task->slack_rows + 1 : 1;
        high = has && high > to ? high : to;
    }
    if (most > MOST_ROWS)
        most = MOST_ROWS;
    if (high > most)
        high = most;
    return (struct band){low, high, used};
}

/* Takes away what lies too far under the best score, from both ends. */
static void narrow(const struct tt_align *align, struct band *band, float least)
{
    const float *cells = align->cells + band->at;
    int first = 0, last = band->high - band->low;
    while (first < last && cells[first] < least)
        first++;
    while (last > first && cells[last - 1] < least)
        last--;
    band->high = band->low + last;
    band->low += first;
    band->at += (size_t)first;
}

size_t tt_align_run(struct tt_align *align, const struct tt_align_task *task, const struct tt_align_end **ends)
{
    *ends = align->ends;
    int most = (int)(task->x_end - task->x_start);
    if (task->y_end <= task->y_start || task->x_end <= task->x_start)
        return 0;
    if (most > MOST_ROWS)
        most = MOST_ROWS;
    size_t used = 0;
    float best = 0.0f;
    int x = 0;
    for (; x < most; x++) {
        struct band band = band_of(align, task, x, used);
        if (band.high <= band.low || used + (size_t)(band.high - band.low) > MOST_CELLS)
            break;
        float row_best = fill_row(align, task, x, &band);
        int at = 0;
        while (align->cells[band.at + (size_t)at] < row_best)
            at++;
        align->ends[x] = (struct tt_align_end){row_best, band.low + at};
        if (row_best > best)
            best = row_best;
        narrow(align, &band, best - task->beam > task->least ? best - task->beam : task->least);
        align->bands[x] = band;
        used = band.at + (size_t)(band.high - band.low);
        if (band.high <= band.low && x >= task->slack_rows) {
            x++;
            break;
        }
        if (x + 1 == task->early_rows && best < task->early_least) {
            x++;
            break;
        }
    }
    return (size_t)x;
}

size_t tt_align_path(struct tt_align *align, const struct tt_align_task *task, size_t x_end,
                     const struct tt_align_cell **path)
{
    int x = (int)x_end, y = align->ends[x_end].y, first = MOST_ROWS;
    float score = align->ends[x_end].score;
    if (score <= no_path / 2)
        return 0;
    while (first > 0) {
        int16_t raw;
        tt_align_compare(&task->rows, task->x_start + (size_t)x, task->y_start + (size_t)y, 1, &raw);
        float likeness = (float)raw / TT_ALIGN_SAME;
        align->path[--first] = (struct tt_align_cell){x, y, likeness};
        float straight = x >= 1 ? score_at(align, &align->bands[x - 1], y - 1) : no_path;
        float wide = x >= 1 ? score_at(align, &align->bands[x - 1], y - 2) : no_path;
        float tall = x >= 2 ? score_at(align, &align->bands[x - 2], y - 1) : no_path;
        float gain = likeness - task->tau;
        float by_straight = straight + 2.0f * gain, by_bend = (wide > tall ? wide : tall) + 3.0f * gain - bend_cost;
        float as_start = (x == 0 && y <= task->slack_rows) || (y == 0 && x <= task->slack_rows) ? 2.0f * gain : no_path;
        if (as_start >= by_straight && as_start >= by_bend)
            break;
        if (by_straight >= by_bend) {
            x--;
            y--;
            score = straight;
        } else if (wide > tall) {
            x--;
            y -= 2;
            score = wide;
        } else {
            x -= 2;
            y--;
            score = tall;
        }
        if (score <= no_path / 2)
            break;
    }
    *path = align->path + first;
    return (size_t)(MOST_ROWS - first);
}
