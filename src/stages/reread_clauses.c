/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Re-reads that begin inside an earlier line: 'the smoke calms the bees, then open ... the bees, then open the hive'.
 */
#include "stages/rereads.h"

#include <stdlib.h>

/* A narrator goes back a clause or two, no farther. */
static const double look_back_s = 12.0;
/* A beginning is not looked for so near to a phrase's own edges, where the ordinary search looks. */
enum { EDGE_ROWS = 36, LEAST_ROWS = 48, MOST_PHRASE_ROWS = 2000, SLACK_ROWS = 6 };
/* The match must reach the phrase's end but for so much, as whoever goes back says the rest again. */
enum { REST_ROWS = 16 };
static const float head_deviations = 3.5f, least_score = 30.0f, beam = 30.0f;

struct clauses {
    struct tt_phrases *phrases;
    struct tt_align *align;
    float sums[MOST_PHRASE_ROWS];
    int16_t likeness[MOST_PHRASE_ROWS];
};

/* The place inside phrase x at which `again` seems to begin; 0 when there is none. */
static int find_place(struct clauses *clauses, const struct tt_phrase *x, const struct tt_phrase *again)
{
    const struct tt_phrases *phrases = clauses->phrases;
    int most = x->row_count < MOST_PHRASE_ROWS ? (int)x->row_count : MOST_PHRASE_ROWS;
    int count = most - EDGE_ROWS - LEAST_ROWS, best = 0;
    if (count <= 0 || again->row_count < LEAST_ROWS)
        return 0;
    tt_phrases_head_likeness(phrases, again->row, x->row + EDGE_ROWS, count, clauses->sums, clauses->likeness);
    for (int t = 1; t < count; t++)
        if (clauses->sums[t] > clauses->sums[best])
            best = t;
    return clauses->sums[best] >= tt_phrases_head_sum(phrases, head_deviations) ? best + EDGE_ROWS : 0;
}

/* Whether from there to the phrase's end both say the same; the row at which that begins, or 0. */
static size_t try_place(struct clauses *clauses, const struct tt_phrase *x, const struct tt_phrase *again, int place)
{
    const struct tt_phrases *phrases = clauses->phrases;
    const size_t base = phrases->window_row, from = (size_t)(place > SLACK_ROWS / 2 ? place - SLACK_ROWS / 2 : 0);
    struct tt_align_task task = {.rows = tt_phrases_rows(phrases),
                                 .x_start = x->row - base + from,
                                 .x_end = x->row - base + x->row_count,
                                 .y_start = again->row - base,
                                 .y_end = again->row - base + again->row_count,
                                 .tau = tt_phrases_tau(phrases),
                                 .beam = beam,
                                 .least = -beam,
                                 .slack_rows = SLACK_ROWS};
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(clauses->align, &task, &ends), rows = task.x_end - task.x_start,
           best = rows > REST_ROWS ? rows - REST_ROWS : 0;
    if (reached <= best)
        return 0;
    for (size_t k = best; k < reached; k++)
        if (ends[k].score > ends[best].score)
            best = k;
    if (ends[best].score < least_score)
        return 0;
    const struct tt_align_cell *path;
    size_t cells = tt_align_path(clauses->align, &task, best, &path);
    return cells ? from + (size_t)path[0].x : 0;
}

/* Splits the phrase in which `again` begins, the nearest one. Returns false only on failure; *index moves with the
 * split. */
static bool split_for(struct clauses *clauses, size_t *index, struct tt_error *err)
{
    struct tt_phrases *phrases = clauses->phrases;
    size_t first = *index;
    while (first > 0 && phrases->all[*index].start_s - phrases->all[first - 1].end_s <= look_back_s)
        first--;
    if (first == *index)
        return true;
    const struct tt_phrase *again = &phrases->all[*index];
    if (!tt_phrases_reach(phrases, phrases->all[first].row, tt_phrase_row_end(again), err))
        return false;
    for (size_t p = *index; p-- > first;) {
        int place = find_place(clauses, &phrases->all[p], again);
        size_t rows = place ? try_place(clauses, &phrases->all[p], again, place) : 0;
        if (rows < EDGE_ROWS / 2 || rows + EDGE_ROWS > phrases->all[p].row_count)
            continue;
        if (!tt_phrases_split(phrases, p, rows, err))
            return false;
        ++*index;
        return true;
    }
    return true;
}

bool tt_rereads_split_clauses(struct tt_phrases *phrases, struct tt_error *err)
{
    struct clauses *clauses = malloc(sizeof *clauses);
    if (!clauses)
        return tt_fail_memory(err);
    clauses->phrases = phrases;
    clauses->align = tt_align_create(err);
    bool is_done = clauses->align != NULL;
    for (size_t p = 1; is_done && p < phrases->count; p++)
        is_done = split_for(clauses, &p, err);
    tt_align_destroy(clauses->align);
    free(clauses);
    return is_done;
}
