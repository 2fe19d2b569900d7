/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Splitting phrases inside which something begins that is said elsewhere, too, and reaches their end: a re-read, 'the
 * smoke calms the bees, then open ... the bees, then open the hive', or a saying that stopped the reading. */
#include "stages/rereads.h"

#include <math.h>
#include <stdlib.h>

/* A narrator goes back a clause or two, no farther. */
static const double look_back_s = 12.0;
/* A beginning is not looked for so near to a phrase's own edges, where the ordinary search looks. */
enum { EDGE_ROWS = 36, MOST_PHRASE_ROWS = 2000, SLACK_ROWS = 6 };
/* The match must reach the phrase's end but for so much, as whoever goes back says the rest again. */
enum { REST_ROWS = 16 };
static const float head_deviations = 3.5f, beam = 30.0f;

/* How long what comes again must be, how much of a phrase must be left for it, and how strongly it must be alike. A
 * saying is short, but known to come again. */
struct limits {
    size_t least_rows, least_left_rows;
    float least_score;
};
static const struct limits of_clause = {48, EDGE_ROWS, 30.0f}, of_saying = {TT_HEAD_ROWS, 24, 25.0f};
/* So many of the sayings before a phrase are tried, and as many behind it, no farther off. */
enum { SAYINGS_TRIED = 3 };
static const double sayings_reach_s = 120.0;

struct clauses {
    struct tt_phrases *phrases;
    struct tt_align *align;
    float sums[MOST_PHRASE_ROWS];
    int16_t likeness[MOST_PHRASE_ROWS];
};

/* The place inside phrase x at which `again` seems to begin; 0 when there is none. */
static int find_place(struct clauses *clauses, const struct tt_phrase *x, const struct tt_phrase *again,
                      const struct limits *limits)
{
    const struct tt_phrases *phrases = clauses->phrases;
    int most = x->row_count < MOST_PHRASE_ROWS ? (int)x->row_count : MOST_PHRASE_ROWS;
    int count = most - EDGE_ROWS - (int)limits->least_rows, best = 0;
    if (count <= 0 || again->row_count < limits->least_rows)
        return 0;
    tt_phrases_head_likeness(phrases, again->row, x->row + EDGE_ROWS, count, clauses->sums, clauses->likeness);
    for (int t = 1; t < count; t++)
        if (clauses->sums[t] > clauses->sums[best])
            best = t;
    return clauses->sums[best] >= tt_phrases_head_sum(phrases, head_deviations) ? best + EDGE_ROWS : 0;
}

/* Whether from there to the phrase's end both say the same; the row at which that begins, or 0. */
static size_t try_place(struct clauses *clauses, const struct tt_phrase *x, const struct tt_phrase *again, int place,
                        const struct limits *limits)
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
    if (ends[best].score < limits->least_score)
        return 0;
    const struct tt_align_cell *path;
    size_t cells = tt_align_path(clauses->align, &task, best, &path);
    return cells ? from + (size_t)path[0].x : 0;
}

/* The row of phrase p at which `again` begins, so that both say the same to its end; 0 when there is none. Both are at
 * hand. */
static size_t find_split(struct clauses *clauses, size_t p, size_t again, const struct limits *limits)
{
    const struct tt_phrase *x = &clauses->phrases->all[p], *y = &clauses->phrases->all[again];
    int place = find_place(clauses, x, y, limits);
    size_t rows = place ? try_place(clauses, x, y, place, limits) : 0;
    return rows < EDGE_ROWS / 2 || rows + limits->least_left_rows > x->row_count ? 0 : rows;
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
        size_t rows = find_split(clauses, p, *index, &of_clause);
        if (rows == 0)
            continue;
        if (!tt_phrases_split(phrases, p, rows, err))
            return false;
        ++*index;
        return true;
    }
    return true;
}

static bool try_saying(struct clauses *clauses, size_t index, size_t saying, size_t *rows, struct tt_error *err)
{
    const struct tt_phrase *x = &clauses->phrases->all[index], *y = &clauses->phrases->all[saying];
    const struct tt_phrase *first = index < saying ? x : y, *last = index < saying ? y : x;
    if (!tt_phrases_reach(clauses->phrases, first->row, tt_phrase_row_end(last), err))
        return false;
    *rows = find_split(clauses, index, saying, &of_saying);
    return true;
}

/* Looks at the end of a phrase for the sayings nearest to it, before it (step -1) or behind it (1); *rows as it was
 * when none is there. */
static bool find_saying(struct clauses *clauses, size_t index, int step, size_t *rows, struct tt_error *err)
{
    const struct tt_phrases *phrases = clauses->phrases;
    const double at_s = phrases->all[index].start_s;
    int tried = 0;
    for (size_t p = index + (size_t)step; p < phrases->count && *rows == 0 && tried < SAYINGS_TRIED;
         p += (size_t)step) {
        if (fabs(phrases->all[p].start_s - at_s) > sayings_reach_s)
            break;
        if (!phrases->all[p].is_saying)
            continue;
        tried++;
        if (!try_saying(clauses, index, p, rows, err))
            return false;
    }
    return true;
}

static bool open_clauses(struct clauses **clauses, struct tt_phrases *phrases, struct tt_error *err)
{
    if (!(*clauses = malloc(sizeof **clauses)))
        return tt_fail_memory(err);
    (*clauses)->phrases = phrases;
    (*clauses)->align = tt_align_create(err);
    return (*clauses)->align != NULL;
}

static void close_clauses(struct clauses *clauses)
{
    if (clauses)
        tt_align_destroy(clauses->align);
    free(clauses);
}

bool tt_rereads_split_sayings(struct tt_phrases *phrases, bool *has_split, struct tt_error *err)
{
    struct clauses *clauses = NULL;
    bool is_done = open_clauses(&clauses, phrases, err);
    *has_split = false;
    for (size_t p = 0; is_done && p < phrases->count; p++) {
        size_t rows = 0;
        if (phrases->all[p].is_saying)
            continue;
        is_done = find_saying(clauses, p, -1, &rows, err) && find_saying(clauses, p, 1, &rows, err);
        if (!is_done || rows == 0)
            continue;
        is_done = tt_phrases_split(phrases, p, rows, err);
        *has_split = true;
        p++;
    }
    close_clauses(clauses);
    return is_done;
}

bool tt_rereads_split_clauses(struct tt_phrases *phrases, struct tt_error *err)
{
    struct clauses *clauses = NULL;
    bool is_done = open_clauses(&clauses, phrases, err);
    for (size_t p = 1; is_done && p < phrases->count; p++)
        is_done = split_for(clauses, &p, err);
    close_clauses(clauses);
    return is_done;
}
