/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/rereads.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/crew.h"
#include "base/grow.h"
#include "stages/phrase_ends.h"

/* A match may reach over so many phrases and seconds. */
enum { MOST_PHRASES = 14 };
static const double most_match_s = 30.0;
static const float beam = 40.0f;
/* What loses so much at its start begins otherwise, however well it goes on: the line before must not be drawn in. */
static const float least_prefix = -8.0f;
enum { SLACK_ROWS = 14 }; /* 150 ms: so differently a true re-reading may begin */
static const double early_s = 0.4;
static const float early_least = 1.0f;
/* A phrase up to so long may be a scrap: so much of it may be skipped, and it must be so much as like as the whole
 * match (of 24 true beginnings the least like had 0.8, none of them skipped a tenth). */
static const double scrap_s = 0.5, most_skipped = 0.34;
static const float least_scrap_share = 0.5f;
static const float least_score = 8.0f; /* under it not even worth a question */
static const float rest_cost = 0.1f;   /* score against each row of the first reading left unmatched */
static const float longer_gain = 4.0f; /* a match that goes on past a phrase's end by chance gains less */
/* Longer matches were too few to learn from: beyond it only the score counts. */
static const double long_match_s = 6.0;
static const double worst_window_s = 0.25, worst_long_s = 0.7, opening_s = 0.5, stretch_s = 0.4;

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

static size_t row_end(const struct tt_phrase *phrase) { return phrase->row + phrase->row_count; }

/* Rows from `phrase` on in its take, at most most_match_s of them and before row `limit`. */
static size_t rows_from(const struct tt_phrases *phrases, size_t phrase, size_t limit)
{
    size_t end = phrases->all[phrase].row, most = end + (size_t)(most_match_s * phrases->rows_per_s);
    for (size_t p = phrase;
         p < phrases->count && p < phrase + MOST_PHRASES && phrases->all[p].take == phrases->all[phrase].take; p++)
        end = row_end(&phrases->all[p]);
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
        size_t stop = row_end(&phrases->all[p]) - start;
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

static float mean_likeness(const struct tt_align_cell *path, size_t count)
{
    double sum = 0.0;
    for (size_t k = 0; k < count; k++)
        sum += (double)path[k].likeness;
    return count ? (float)(sum / (double)count) : 0.0f;
}

/* The lowest mean likeness of so many cells of the path in a row. */
static float worst_likeness(const struct tt_align_cell *path, size_t count, size_t window)
{
    if (count <= window)
        return mean_likeness(path, count);
    double sum = 0.0, worst = 1.0;
    for (size_t k = 0; k < count; k++) {
        sum += (double)path[k].likeness;
        if (k >= window)
            sum -= (double)path[k - window].likeness;
        if (k + 1 >= window && sum / (double)window < worst)
            worst = sum / (double)window;
    }
    return (float)worst;
}

/* In deviations over what chance gives. */
static float over_chance(const struct tt_phrases *phrases, float likeness)
{
    return (likeness - phrases->null_mean) / phrases->null_deviation;
}

static void see_path(const struct tt_phrases *phrases, struct tt_reread *reread, const struct tt_align_cell *path,
                     size_t cells)
{
    const double rate = phrases->rows_per_s;
    size_t opening = (size_t)(opening_s * rate);
    reread->seen[TT_SEEN_LIKENESS] = over_chance(phrases, mean_likeness(path, cells));
    reread->seen[TT_SEEN_WORST] = over_chance(phrases, worst_likeness(path, cells, (size_t)(worst_window_s * rate)));
    reread->seen[TT_SEEN_WORST_LONG] = over_chance(phrases, worst_likeness(path, cells, (size_t)(worst_long_s * rate)));
    reread->seen[TT_SEEN_OPENING] = over_chance(phrases, mean_likeness(path, cells < opening ? cells : opening));
}

/* How the path ends: the same words cut off in mid-word go on alike to the last moment, the end of a sentence is drawn
 * out. */
static void see_path_end(const struct tt_phrases *phrases, struct tt_reread *reread, const struct tt_align_cell *path,
                         size_t cells)
{
    const double rate = phrases->rows_per_s;
    size_t near = (size_t)(worst_window_s * rate), from = cells - 1;
    if (near > cells)
        near = cells;
    reread->seen[TT_SEEN_END_LIKENESS] = over_chance(phrases, mean_likeness(path + (cells - near), near));
    const struct tt_align_cell *last = &path[cells - 1];
    while (from > 0 && (double)(last->x - path[from].x) < stretch_s * rate)
        from--;
    double x = last->x - path[from].x + 4, y = last->y - path[from].y + 4;
    reread->seen[TT_SEEN_END_STRETCH] = (float)(log(x / y) - log((double)reread->x_rows / (double)reread->y_rows));
}

static void see_ending(const struct tt_phrases *phrases, struct tt_reread *reread)
{
    const struct tt_phrase_end end = tt_phrase_end_of(phrases, reread->last);
    reread->seen[TT_SEEN_END_FALL] = (float)(fmin(fmax(end.fall_db, -10.0), 40.0) / 10.0);
    reread->seen[TT_SEEN_LAST_SYLLABLE] = (float)end.syllable_s;
}

static void see_ends(const struct tt_phrases *phrases, struct tt_reread *reread)
{
    const double rate = phrases->rows_per_s;
    const struct tt_phrase *last = &phrases->all[reread->last], *again = &phrases->all[reread->again];
    size_t y_row = again->row + reread->y_rows - 1;
    reread->again_last = tt_phrases_at(phrases, y_row);
    const struct tt_phrase *again_last = &phrases->all[reread->again_last];
    double x_rest = (double)(row_end(last) - (phrases->all[reread->first].row + reread->x_rows)) / rate;
    double y_rest = (double)(row_end(again_last) - 1 - y_row) / rate;
    double matched = (double)reread->x_rows / rate;
    bool is_at_end = reread->last + 1 >= phrases->count || phrases->all[reread->last + 1].take != last->take;
    double pause = is_at_end ? 1.5 : phrases->all[reread->last + 1].start_s - last->end_s;
    float *seen = reread->seen;
    seen[TT_SEEN_ALWAYS] = 1.0f;
    seen[TT_SEEN_SCORE] = (float)log((double)reread->score);
    seen[TT_SEEN_LENGTH] = (float)log(fmin(matched, long_match_s));
    seen[TT_SEEN_REST] = (float)fmin(x_rest, 1.5);
    seen[TT_SEEN_REST_SHARE] = (float)(x_rest / (x_rest + matched));
    seen[TT_SEEN_GOES_ON] = x_rest < 0.15 && y_rest > 0.2 ? 1.0f : 0.0f;
    seen[TT_SEEN_BOTH_END] = x_rest < 0.15 && y_rest < 0.15 ? 1.0f : 0.0f;
    seen[TT_SEEN_PAUSE] = (float)log(fmax(pause, 0.1));
    seen[TT_SEEN_SKEW] = (float)fabs(log((double)reread->x_rows / (double)reread->y_rows));
}

/* Whether the first phrase of a side takes part in the path. A short one may be a scrap, the last syllable of the line
 * before or a stray sound, that the match behind it carries: then it is met late, or is hardly like what it should be.
 */
static bool begins_with(const struct tt_phrases *phrases, size_t rows, const struct tt_align_cell *path, size_t cells,
                        bool is_first_reading)
{
    size_t inside = 0;
    while (inside < cells && (size_t)(is_first_reading ? path[inside].x : path[inside].y) < rows)
        inside++;
    if (inside == cells || (double)rows > scrap_s * phrases->rows_per_s)
        return inside > 0;
    const int begins = is_first_reading ? path[0].x : path[0].y;
    return inside > 0 && (double)begins <= most_skipped * (double)rows &&
           over_chance(phrases, mean_likeness(path, inside)) >=
               least_scrap_share * over_chance(phrases, mean_likeness(path, cells));
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
    if (!begins_with(phrases, x->row_count, path, cells, true) ||
        !begins_with(phrases, y->row_count, path, cells, false))
        return true;
    see_path(phrases, &reread, path, cells);
    see_path_end(phrases, &reread, path, cells);
    see_ends(phrases, &reread);
    see_ending(phrases, &reread);
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
    const size_t wanted = phrases->view->threads, threads = wanted < 1              ? 1
                                                            : wanted < MOST_THREADS ? wanted
                                                                                    : MOST_THREADS;
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
