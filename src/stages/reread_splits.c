/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/rereads.h"

#include <stdlib.h>
#include <string.h>

/* A beginning is looked for by its first third of a second; neither half may be shorter than this. */
enum { HEAD_ROWS = 32, LEAST_ROWS = 48 };
/* It must be this much likelier than chance to be looked at, and score this at least: half a second of the same words. */
static const float head_deviations = 3.0f, least_split_score = 22.0f;
/* The first try must reach to the second but for so much, and a phrase is looked through for so long. */
enum { REST_ROWS = 16, MOST_PHRASE_ROWS = 2000, MOST_PEAKS = 3, SLACK_ROWS = 6 };
static const float split_beam = 40.0f, least_tau = 0.43f, most_tau = 0.52f;

struct splitter {
    struct tt_phrases *phrases;
    struct tt_align *align;
    float sums[MOST_PHRASE_ROWS];            /* likeness of the phrase's head with what follows each row, summed */
    int16_t likeness[MOST_PHRASE_ROWS];
};

/* Rows of the phrase at which its beginning seems to come again, the likeliest first. */
static int find_peaks(struct splitter *splitter, const struct tt_phrase *phrase, int peaks[MOST_PEAKS])
{
    const struct tt_phrases *phrases = splitter->phrases;
    struct tt_align_rows rows = tt_phrases_rows(phrases);
    size_t start = phrase->row - phrases->window_row;
    int most = phrase->row_count < MOST_PHRASE_ROWS ? (int)phrase->row_count : MOST_PHRASE_ROWS;
    int count = most - LEAST_ROWS - HEAD_ROWS;  /* places, from LEAST_ROWS on */
    if (count <= 2) return 0;
    memset(splitter->sums, 0, sizeof splitter->sums);
    for (int k = 0; k < HEAD_ROWS; k++) {
        tt_align_compare(&rows, start + (size_t)k, start + (size_t)(LEAST_ROWS + k), count, splitter->likeness);
        for (int t = 0; t < count; t++) splitter->sums[t] += (float)splitter->likeness[t];
    }
    float least = (phrases->null_mean + head_deviations * phrases->null_deviation) * (float)HEAD_ROWS * (float)TT_ALIGN_SAME;
    int found = 0;
    while (found < MOST_PEAKS) {
        int best = 0;
        for (int t = 1; t < count; t++)
            if (splitter->sums[t] > splitter->sums[best]) best = t;
        if (splitter->sums[best] < least) break;
        peaks[found++] = best + LEAST_ROWS;
        for (int t = best - HEAD_ROWS / 2; t <= best + HEAD_ROWS / 2; t++)
            if (t >= 0 && t < count) splitter->sums[t] = -1.0f;
    }
    return found;
}

/* Where exactly the second beginning lies, in rows of the phrase; 0 when it is none. */
static size_t try_split(struct splitter *splitter, const struct tt_phrase *phrase, int at)
{
    const struct tt_phrases *phrases = splitter->phrases;
    size_t start = phrase->row - phrases->window_row, from = (size_t)(at > SLACK_ROWS / 2 ? at - SLACK_ROWS / 2 : 0);
    float tau = phrases->null_mean + 2.0f * phrases->null_deviation;
    struct tt_align_task task = {.rows = tt_phrases_rows(phrases), .x_start = start, .x_end = start + (size_t)at,
                                 .y_start = start + from, .y_end = start + phrase->row_count,
                                 .tau = tau < least_tau ? least_tau : tau > most_tau ? most_tau : tau, .beam = split_beam, .least = -split_beam, .slack_rows = SLACK_ROWS};
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(splitter->align, &task, &ends);
    size_t first = (size_t)(at > REST_ROWS ? at - REST_ROWS : 0), best = first;
    if (reached <= first) return 0;
    for (size_t x = first; x < reached; x++)
        if (ends[x].score > ends[best].score) best = x;
    if (ends[best].score < least_split_score) return 0;
    const struct tt_align_cell *path;
    size_t cells = tt_align_path(splitter->align, &task, best, &path);
    return cells ? from + (size_t)path[0].y : 0;
}

static bool split_phrase(struct splitter *splitter, size_t index, struct tt_error *err)
{
    struct tt_phrases *phrases = splitter->phrases;
    if (phrases->all[index].row_count < 2 * LEAST_ROWS) return true;
    if (!tt_phrases_reach(phrases, phrases->all[index].row, phrases->all[index].row + phrases->all[index].row_count, err)) return false;
    int peaks[MOST_PEAKS], count = find_peaks(splitter, &phrases->all[index], peaks);
    for (int k = 0; k < count; k++) {
        size_t rows = try_split(splitter, &phrases->all[index], peaks[k]);
        if (rows < LEAST_ROWS || rows + LEAST_ROWS / 2 > phrases->all[index].row_count) continue;
        return tt_phrases_split(phrases, index, rows, err);
    }
    return true;
}

bool tt_rereads_split(struct tt_phrases *phrases, struct tt_error *err)
{
    struct splitter *splitter = malloc(sizeof *splitter);
    if (!splitter) return tt_fail_memory(err);
    splitter->phrases = phrases;
    splitter->align = tt_align_create(err);
    bool is_done = splitter->align != NULL;
    /* The second part is looked through as well: it may begin anew, too. */
    for (size_t p = 0; is_done && p < phrases->count; p++) is_done = split_phrase(splitter, p, err);
    tt_align_destroy(splitter->align);
    free(splitter);
    return is_done;
}
