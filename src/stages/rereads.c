/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/rereads.h"

#include <stdlib.h>

#include "base/crew.h"
#include "base/grow.h"
#include "stages/reread_path.h"

/* A match may reach over so many phrases and seconds. */
enum { MOST_PHRASES = 14 };
static const double most_match_s = 30.0;
static const float beam = 40.0f;
/* What loses so much at its start begins otherwise, however well it goes on: the line before must not be drawn in. */
static const float least_prefix = -8.0f;
enum { SLACK_ROWS = 14 }; /* 150 ms: so differently a true re-reading may begin */
static const double early_s = 0.4;
static const float early_least = 1.0f;
static const float least_score = 8.0f; /* under it not even worth a question */
static const float rest_cost = 0.1f;   /* score against each row of the first reading left unmatched */
static const float longer_gain = 4.0f; /* a match that goes on past a phrase's end by chance gains less */

/* So many later phrases are held against those before them at once. More threads than that find nothing to do. */
enum { BATCH = 16, MOST_THREADS = 8 };

struct pairs {
    size_t first, end, again; /* phrases first .. end - 1 with phrase again */
    struct tt_rereads found;
};

struct search {
    struct tt_phrases *phrases;
    struct tt_align *aligns[MOST_THREADS]; /* one a thread */
    struct pairs pairs[BATCH];             /* under way */
    void *pieces[BATCH];                   /* the same, for the crew */
    struct tt_crew *crew;
    struct tt_rereads *rereads;
    double look_back_s;
    bool between;
    float tau;
};

static bool add(struct tt_rereads *rereads, const struct tt_reread *reread, struct tt_error *err)
{
    struct tt_reread *all = tt_grow(rereads->all, rereads->count, &rereads->capacity, sizeof *all, err);
    if (!all)
        return false;
    rereads->all = all;
    rereads->all[rereads->count++] = *reread;
    return true;
}

void tt_rereads_free(struct tt_rereads *rereads)
{
    free(rereads->all);
    *rereads = (struct tt_rereads){0};
}

/* Rows from `phrase` on in its take, at most most_match_s of them and before row `limit`. */
static size_t rows_from(const struct tt_phrases *phrases, size_t phrase, size_t limit)
{
    size_t end = phrases->all[phrase].row, most = end + (size_t)(most_match_s * phrases->rows_per_s);
    for (size_t p = phrase;
         p < phrases->count && p < phrase + MOST_PHRASES && phrases->all[p].take == phrases->all[phrase].take; p++)
        end = tt_phrase_row_end(&phrases->all[p]);
    if (end > most)
        end = most;
    return end > limit ? limit : end;
}

struct ending {
    size_t last;
    size_t x;
    float score;
};

/* Where the first reading ends: the phrase whose rest speaks least against it, an earlier one unless the match truly
 * goes on. */
static struct ending find_ending(const struct tt_phrases *phrases, size_t first, const struct tt_align_end *ends,
                                 size_t reached)
{
    struct ending best = {first, 0, -1e9f};
    size_t start = phrases->all[first].row, x = 0;
    float best_worth = -1e9f;
    for (size_t p = first; p < phrases->count && phrases->all[p].row - start < reached; p++) {
        struct ending here = {p, x, -1e9f};
        size_t stop = tt_phrase_row_end(&phrases->all[p]) - start;
        for (; x < stop && x < reached; x++)
            if (ends[x].score > here.score) {
                here.score = ends[x].score;
                here.x = x;
            }
        if (here.score <= 0.0f)
            continue;
        float worth = here.score - rest_cost * (float)(stop - 1 - here.x);
        if (worth > best_worth + (best_worth > 0.0f ? longer_gain : 0.0f)) {
            best = here;
            best_worth = worth;
        }
    }
    return best;
}

/* Tries whether phrase `again` says what phrase `first` said. */
static bool try_pair(const struct search *search, struct tt_align *align, size_t first, size_t again,
                     struct tt_rereads *found, struct tt_error *err)
{
    const struct tt_phrases *phrases = search->phrases;
    const struct tt_phrase *x = &phrases->all[first], *y = &phrases->all[again];
    if (x->row_count == 0 || y->row_count == 0)
        return true;
    size_t base = phrases->window_row;
    struct tt_align_task task = {.rows = tt_phrases_rows(phrases),
                                 .x_start = x->row - base,
                                 .x_end = rows_from(phrases, first, y->row) - base,
                                 .y_start = y->row - base,
                                 .y_end = rows_from(phrases, again, phrases->row_count) - base,
                                 .tau = search->tau,
                                 .beam = beam,
                                 .least = least_prefix,
                                 .slack_rows = SLACK_ROWS,
                                 .early_rows = (int)(early_s * phrases->rows_per_s),
                                 .early_least = early_least};
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(align, &task, &ends);
    struct ending ending = find_ending(phrases, first, ends, reached);
    if (ending.score < least_score)
        return true;
    struct tt_reread reread = {.first = first,
                               .last = ending.last,
                               .again = again,
                               .x_rows = ending.x + 1,
                               .y_rows = (size_t)ends[ending.x].y + 1,
                               .score = ending.score};
    const struct tt_align_cell *path;
    size_t cells = tt_align_path(align, &task, ending.x, &path);
    if (!tt_reread_path_begins(phrases, &reread, path, cells))
        return true;
    tt_reread_path_see(phrases, &reread, path, cells);
    return add(found, &reread, err);
}

static bool try_pairs(void *context, size_t worker, void *piece, struct tt_error *err)
{
    const struct search *search = context;
    struct pairs *pairs = piece;
    pairs->found.count = 0;
    for (size_t p = pairs->first; p < pairs->end; p++)
        if (!try_pair(search, search->aligns[worker], p, pairs->again, &pairs->found, err))
            return false;
    return true;
}

static bool take_found(void *context, void *piece, struct tt_error *err)
{
    struct search *search = context;
    const struct tt_rereads *found = &((struct pairs *)piece)->found;
    for (size_t i = 0; i < found->count; i++)
        if (!add(search->rereads, &found->all[i], err))
            return false;
    return true;
}

/* The rows of all of them have to be at hand before the first one is begun: they move when others are wanted. */
static bool search_batch(struct search *search, const struct pairs *batch, size_t count, struct tt_error *err)
{
    struct tt_phrases *phrases = search->phrases;
    size_t to = 0;
    for (size_t i = 0; i < count; i++) {
        const size_t end = rows_from(phrases, batch[i].again, phrases->row_count);
        to = end > to ? end : to;
    }
    if (count == 0)
        return true;
    if (phrases->view->goes_on && !phrases->view->goes_on(phrases->view->context))
        return tt_fail_stopped(err);
    if (!tt_phrases_reach(phrases, phrases->all[batch[0].first].row, to, err))
        return false;
    for (size_t i = 0; i < count; i++) {
        struct pairs *pairs = tt_crew_piece(search->crew, err);
        if (!pairs)
            return false;
        pairs->first = batch[i].first;
        pairs->end = batch[i].end;
        pairs->again = batch[i].again;
        tt_crew_add(search->crew);
    }
    return tt_crew_finish(search->crew, err);
}

static bool search_all(struct search *search, struct tt_error *err)
{
    const struct tt_phrases *phrases = search->phrases;
    struct pairs batch[BATCH] = {{0}};
    size_t first = 0, split = 1, count = 0; /* split: where the second take begins */
    while (search->between && split < phrases->count && phrases->all[split].take == phrases->all[0].take)
        split++;
    for (size_t again = split; again < phrases->count; again++) {
        while (first < again && phrases->all[again].start_s - phrases->all[first].start_s > search->look_back_s)
            first++;
        const size_t end = search->between ? split : again;
        if (first >= end)
            continue;
        batch[count++] = (struct pairs){.first = first, .end = end, .again = again};
        if (count < BATCH)
            continue;
        if (!search_batch(search, batch, count, err))
            return false;
        count = 0;
    }
    return search_batch(search, batch, count, err);
}

static bool open_search(struct search *search, size_t threads, struct tt_error *err)
{
    for (size_t i = 0; i < BATCH; i++)
        search->pieces[i] = &search->pairs[i];
    for (size_t i = 0; i < threads; i++)
        if (!(search->aligns[i] = tt_align_create(err)))
            return false;
    const struct tt_crew_plan plan = {
        .work = try_pairs, .take = take_found, .context = search, .pieces = search->pieces, .piece_count = BATCH};
    return (search->crew = tt_crew_open(&plan, threads, err)) != NULL;
}

static void close_search(struct search *search)
{
    tt_crew_close(search->crew);
    for (size_t i = 0; i < MOST_THREADS; i++)
        tt_align_destroy(search->aligns[i]);
    for (size_t i = 0; i < BATCH; i++)
        tt_rereads_free(&search->pairs[i].found);
}

bool tt_rereads_find(struct tt_phrases *phrases, double look_back_s, bool between, struct tt_rereads *rereads,
                     struct tt_error *err)
{
    *rereads = (struct tt_rereads){0};
    const size_t threads = tt_crew_size(phrases->view->threads, MOST_THREADS);
    struct search search = {.phrases = phrases,
                            .rereads = rereads,
                            .look_back_s = look_back_s,
                            .between = between,
                            .tau = tt_phrases_tau(phrases)};
    bool is_done = open_search(&search, threads, err) && search_all(&search, err);
    close_search(&search);
    if (!is_done)
        tt_rereads_free(rereads);
    return is_done;
}
