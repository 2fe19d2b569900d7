/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/reread_path.h"

#include <math.h>

#include "stages/phrase_ends.h"

/* A phrase up to so long may be a scrap: so much of it may be skipped, and it must be so much as like as the whole
 * match (of 24 true beginnings the least like had 0.8, none of them skipped a tenth). */
static const double scrap_s = 0.5, most_skipped = 0.34;
static const float least_scrap_share = 0.5f;
/* Longer matches were too few to learn from: beyond it only the score counts. */
static const double long_match_s = 6.0;
/* A side ends with the match where less than this is left of its phrase, and goes on where more than that is. */
static const double ends_within_s = 0.15, goes_on_s = 0.2;
static const double most_rest_s = 1.5, least_pause_s = 0.1;
static const double take_end_pause_s = 1.5; /* nothing follows in the take: as a long pause */
static const double least_fall_db = -10.0, most_fall_db = 40.0;
enum { STRETCH_EASE_ROWS = 4 }; /* on both sides, so that a row more or less in a short stretch says little */
static const double worst_window_s = 0.25, worst_long_s = 0.7, opening_s = 0.5, stretch_s = 0.4;

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
    double x = last->x - path[from].x + STRETCH_EASE_ROWS, y = last->y - path[from].y + STRETCH_EASE_ROWS;
    reread->seen[TT_SEEN_END_STRETCH] = (float)(log(x / y) - log((double)reread->x_rows / (double)reread->y_rows));
}

static void see_ending(const struct tt_phrases *phrases, struct tt_reread *reread)
{
    const struct tt_phrase_end end = tt_phrase_end_of(phrases, reread->last);
    reread->seen[TT_SEEN_END_FALL] = (float)(fmin(fmax(end.fall_db, least_fall_db), most_fall_db) / 10.0);
    reread->seen[TT_SEEN_LAST_SYLLABLE] = (float)end.syllable_s;
}

static void see_ends(const struct tt_phrases *phrases, struct tt_reread *reread)
{
    const double rate = phrases->rows_per_s;
    const struct tt_phrase *last = &phrases->all[reread->last], *again = &phrases->all[reread->again];
    size_t y_row = again->row + reread->y_rows - 1;
    reread->again_last = tt_phrases_at(phrases, y_row);
    const struct tt_phrase *again_last = &phrases->all[reread->again_last];
    double x_rest = (double)(tt_phrase_row_end(last) - (phrases->all[reread->first].row + reread->x_rows)) / rate;
    double y_rest = (double)(tt_phrase_row_end(again_last) - 1 - y_row) / rate;
    double matched = (double)reread->x_rows / rate;
    bool is_at_end = reread->last + 1 >= phrases->count || phrases->all[reread->last + 1].take != last->take;
    double pause = is_at_end ? take_end_pause_s : phrases->all[reread->last + 1].start_s - last->end_s + last->ring_s;
    float *seen = reread->seen;
    seen[TT_SEEN_ALWAYS] = 1.0f;
    seen[TT_SEEN_SCORE] = (float)log((double)reread->score);
    seen[TT_SEEN_LENGTH] = (float)log(fmin(matched, long_match_s));
    seen[TT_SEEN_REST] = (float)fmin(x_rest, most_rest_s);
    seen[TT_SEEN_REST_SHARE] = (float)(x_rest / (x_rest + matched));
    seen[TT_SEEN_GOES_ON] = x_rest < ends_within_s && y_rest > goes_on_s ? 1.0f : 0.0f;
    seen[TT_SEEN_BOTH_END] = x_rest < ends_within_s && y_rest < ends_within_s ? 1.0f : 0.0f;
    seen[TT_SEEN_PAUSE] = (float)log(fmax(pause, least_pause_s));
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

bool tt_reread_path_begins(const struct tt_phrases *phrases, const struct tt_reread *reread,
                           const struct tt_align_cell *path, size_t cells)
{
    return begins_with(phrases, phrases->all[reread->first].row_count, path, cells, true) &&
           begins_with(phrases, phrases->all[reread->again].row_count, path, cells, false);
}

void tt_reread_path_see(const struct tt_phrases *phrases, struct tt_reread *reread, const struct tt_align_cell *path,
                        size_t cells)
{
    see_path(phrases, reread, path, cells);
    see_path_end(phrases, reread, path, cells);
    see_ends(phrases, reread);
    see_ending(phrases, reread);
}
