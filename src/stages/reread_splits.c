/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/rereads.h"

#include <stdlib.h>

/* Neither half may be shorter than this. */
enum { LEAST_ROWS = 48 };
/* It must be this much likelier than chance to be looked at, and score this at least: half a second of the same words.
 */
static const float head_deviations = 3.0f, least_split_score = 22.0f, most_lost = 25.0f;
/* So long a reading is begun anew at most, be there pauses in it or not. */
static const double longest_try_s = 10.0;
/* The first try must reach to the second but for so much, and so many rows are looked through. */
enum { REST_ROWS = 16, MOST_ROWS = 1000, MOST_PEAKS = 4, SLACK_ROWS = 6 };
static const float split_beam = 40.0f;

struct splitter {
    struct tt_phrases *phrases;
    struct tt_align *align;
    float sums[MOST_ROWS]; /* likeness of the phrase's head with what follows each row, summed */
    int16_t likeness[MOST_ROWS];
};

/* Rows from the phrase's start on, over the phrases behind it, in which it may begin anew. */
static size_t rows_behind(const struct tt_phrases *phrases, size_t index, double seconds)
{
    const struct tt_phrase *phrase = &phrases->all[index];
    size_t end = phrase->row;
    for (size_t p = index; p < phrases->count && phrases->all[p].take == phrase->take &&
                           phrases->all[p].start_s - phrase->start_s <= seconds;
         p++)
        end = tt_phrase_row_end(&phrases->all[p]);
    return end - phrase->row;
}

/* Rows behind the phrase's first at which its beginning seems to come again, the likeliest first. */
static int find_peaks(struct splitter *splitter, const struct tt_phrase *phrase, size_t rows_to_see,
                      int peaks[MOST_PEAKS])
{
    const struct tt_phrases *phrases = splitter->phrases;
    int most = rows_to_see < MOST_ROWS ? (int)rows_to_see : MOST_ROWS;
    int count = most - LEAST_ROWS - TT_HEAD_ROWS; /* places, from LEAST_ROWS on */
    if (count <= 2)
        return 0;
    tt_phrases_head_likeness(phrases, phrase->row, phrase->row + LEAST_ROWS, count, splitter->sums, splitter->likeness);
    const float least = tt_phrases_head_sum(phrases, head_deviations);
    int found = 0;
    while (found < MOST_PEAKS) {
        int best = 0;
        for (int t = 1; t < count; t++)
            if (splitter->sums[t] > splitter->sums[best])
                best = t;
        if (splitter->sums[best] < least)
            break;
        peaks[found++] = best + LEAST_ROWS;
        for (int t = best - TT_HEAD_ROWS / 2; t <= best + TT_HEAD_ROWS / 2; t++)
            if (t >= 0 && t < count)
                splitter->sums[t] = -1.0f;
    }
    return found;
}

/* Where exactly the second beginning lies, in rows behind the phrase's first; 0 when it is none. */
static size_t try_split(struct splitter *splitter, const struct tt_phrase *phrase, size_t row_count, int at)
{
    const struct tt_phrases *phrases = splitter->phrases;
    size_t start = phrase->row - phrases->window_row, from = (size_t)(at > SLACK_ROWS / 2 ? at - SLACK_ROWS / 2 : 0);
    struct tt_align_task task = {.rows = tt_phrases_rows(phrases),
                                 .x_start = start,
                                 .x_end = start + (size_t)at,
                                 .y_start = start + from,
                                 .y_end = start + row_count,
                                 .tau = tt_phrases_tau(phrases),
                                 .beam = split_beam,
                                 .least = -split_beam,
                                 .slack_rows = SLACK_ROWS};
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(splitter->align, &task, &ends);
    size_t first = (size_t)(at > REST_ROWS ? at - REST_ROWS : 0), best = first;
    float most = 0.0f;
    if (reached <= first)
        return 0;
    for (size_t x = 0; x < reached; x++) {
        if (ends[x].score > most)
            most = ends[x].score;
        if (x > first && ends[x].score > ends[best].score)
            best = x;
    }
    if (ends[best].score < least_split_score || ends[best].score < most - most_lost)
        return 0;
    const struct tt_align_cell *path;
    size_t cells = tt_align_path(splitter->align, &task, best, &path);
    return cells ? from + (size_t)path[0].y : 0;
}

/* Looks whether what begins with this phrase begins anew inside it or inside one of the next, and parts that one there.
 */
static bool split_behind(struct splitter *splitter, size_t index, struct tt_error *err)
{
    struct tt_phrases *phrases = splitter->phrases;
    const struct tt_phrase *phrase = &phrases->all[index];
    const size_t row = phrase->row, to_see = rows_behind(phrases, index, longest_try_s),
                 row_count = rows_behind(phrases, index, 2.0 * longest_try_s);
    if (to_see < 2 * LEAST_ROWS || phrase->row_count == 0)
        return true;
    if (!tt_phrases_reach(phrases, row, row + row_count, err))
        return false;
    int peaks[MOST_PEAKS], count = find_peaks(splitter, phrase, to_see, peaks);
    for (int k = 0; k < count; k++) {
        size_t rows = try_split(splitter, phrase, row_count, peaks[k]), within = tt_phrases_at(phrases, row + rows);
        const struct tt_phrase *parted = &phrases->all[within];
        size_t before = row + rows - parted->row, behind = parted->row_count - before;
        if (rows < LEAST_ROWS || before < LEAST_ROWS / 2 || behind < LEAST_ROWS / 2)
            continue;
        return tt_phrases_split(phrases, within, before, err);
    }
    return true;
}

bool tt_rereads_split(struct tt_phrases *phrases, struct tt_error *err)
{
    struct splitter *splitter = malloc(sizeof *splitter);
    if (!splitter)
        return tt_fail_memory(err);
    splitter->phrases = phrases;
    splitter->align = tt_align_create(err);
    bool is_done = splitter->align != NULL;
    /* The second part is looked through as well: it may begin anew, too. */
    for (size_t p = 0; is_done && p < phrases->count; p++)
        is_done = split_behind(splitter, p, err);
    tt_align_destroy(splitter->align);
    free(splitter);
    return is_done;
}
