/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The session's phrases out of what was heard of its takes. */
#include <stdlib.h>

#include "stages/phrase_ring.h"
#include "stages/phrase_rows.h"
#include "stages/spoken.h"

/* Nothing that can be heard well for so long is a pause, too, even where the room fills it: the resolution of the steps
 * (spoken.h). */
static const double least_hush_s = 0.0999;

static double running_s(const struct tt_take_view *take, int64_t sample)
{
    return take->clock_s + (double)sample / take->heard->facts.rate_hz;
}

static void add_run(struct tt_phrases *phrases, size_t take_index, const struct tt_run *run)
{
    const struct tt_take_view *take = &phrases->view->takes[take_index];
    const double rate = take->heard->facts.rate_hz;
    struct tt_phrase *last = phrases->count ? &phrases->all[phrases->count - 1] : NULL;
    if (last && last->take == take_index &&
        (double)(run->start_sample - last->end_sample) / rate < 1e-3 * TT_PHRASE_PAUSE_MS &&
        (double)(run->loud_start_sample - last->loud_end_sample) / rate < least_hush_s) {
        double a = (double)(last->end_sample - last->start_sample), b = (double)(run->end_sample - run->start_sample);
        last->level_db = run->level_db > last->level_db ? run->level_db : last->level_db;
        last->over_floor_db = (float)((a * (double)last->over_floor_db + b * (double)run->over_floor_db) / (a + b));
        last->end_sample = run->end_sample;
        last->loud_end_sample = run->loud_end_sample;
        last->end_s = running_s(take, run->end_sample);
        return;
    }
    phrases->all[phrases->count++] = (struct tt_phrase){.take = take_index,
                                                        .start_sample = run->start_sample,
                                                        .end_sample = run->end_sample,
                                                        .loud_start_sample = run->loud_start_sample,
                                                        .loud_end_sample = run->loud_end_sample,
                                                        .start_s = running_s(take, run->start_sample),
                                                        .end_s = running_s(take, run->end_sample),
                                                        .level_db = run->level_db,
                                                        .over_floor_db = run->over_floor_db};
}

static bool can_be_compared(const struct tt_heard *heard)
{
    return heard->facts.rate_hz > 0 && heard->facts.feature_hop_samples > 0;
}

static size_t count_stretches(const struct tt_heard *heard)
{
    if (!can_be_compared(heard))
        return 0;
    const struct tt_spoken spoken = tt_spoken_begin(heard);
    struct tt_run stretch;
    size_t count = 0;
    for (size_t r = 0; r < heard->run_count; r++)
        for (int64_t from = heard->runs[r].start_sample; tt_spoken_next(&spoken, &heard->runs[r], &from, &stretch);)
            count++;
    return count;
}

static void add_take(struct tt_phrases *phrases, size_t take, const struct tt_knocks_found *knocks)
{
    const struct tt_heard *heard = phrases->view->takes[take].heard;
    const struct tt_spoken spoken = tt_spoken_begin(heard);
    struct tt_run stretch;
    for (size_t r = 0; r < heard->run_count; r++) {
        if (tt_knocks_hold(knocks, take, &heard->runs[r]))
            continue;
        for (int64_t from = heard->runs[r].start_sample; tt_spoken_next(&spoken, &heard->runs[r], &from, &stretch);)
            add_run(phrases, take, &stretch);
    }
    if (phrases->rows_per_s <= 0.0)
        phrases->rows_per_s = (double)heard->facts.rate_hz / heard->facts.feature_hop_samples;
}

/* Row r of a take is centred on sample r * hop; a phrase has the rows whose centres lie where it can be heard well:
 * what is fainter sounds like the room. */
static void number_rows(struct tt_phrases *phrases)
{
    for (size_t p = 0; p < phrases->count; p++) {
        struct tt_phrase *phrase = &phrases->all[p];
        const struct tt_heard *heard = phrases->view->takes[phrase->take].heard;
        int64_t hop = heard->facts.feature_hop_samples, most = (int64_t)heard->feature_count;
        int64_t first = (phrase->loud_start_sample + hop - 1) / hop, end = (phrase->loud_end_sample + hop - 1) / hop;
        if (first > most)
            first = most;
        if (end > most)
            end = most;
        phrase->take_row = first;
        phrase->row = phrases->row_count;
        phrase->row_count = end > first ? (size_t)(end - first) : 0;
        phrases->row_count += phrase->row_count;
    }
}

struct level_share {
    float level_db;
    double seconds;
};
static int by_level(const void *a, const void *b)
{
    const struct level_share *x = a, *y = b;
    return x->level_db < y->level_db ? -1 : x->level_db > y->level_db;
}

static bool measure_level(struct tt_phrases *phrases, struct tt_error *err)
{
    if (phrases->count == 0)
        return true;
    struct level_share *shares = malloc(phrases->count * sizeof *shares);
    if (!shares)
        return tt_fail_memory(err);
    double total = 0.0, so_far = 0.0;
    for (size_t p = 0; p < phrases->count; p++) {
        const struct tt_phrase *phrase = &phrases->all[p];
        shares[p] = (struct level_share){phrase->level_db, phrase->end_s - phrase->start_s};
        total += shares[p].seconds;
    }
    qsort(shares, phrases->count, sizeof *shares, by_level);
    size_t at = 0;
    while (at + 1 < phrases->count && so_far + shares[at].seconds < total / 2)
        so_far += shares[at++].seconds;
    phrases->typical_level_db = shares[at].level_db;
    free(shares);
    return true;
}

bool tt_phrases_open(const struct tt_session_view *view, const struct tt_knocks_found *knocks,
                     struct tt_phrases *phrases, struct tt_error *err)
{
    *phrases = (struct tt_phrases){.view = view};
    size_t most = 0;
    for (size_t t = 0; t < view->count; t++)
        most += count_stretches(view->takes[t].heard);
    phrases->all = calloc(most ? most : 1, sizeof *phrases->all);
    if (!phrases->all)
        return tt_fail_memory(err);
    for (size_t t = 0; t < view->count; t++)
        if (can_be_compared(view->takes[t].heard))
            add_take(phrases, t, knocks);
    for (size_t p = 0; p < phrases->count; p++)
        tt_phrase_leave_out_ring(view->takes[phrases->all[p].take].heard, &phrases->all[p]);
    number_rows(phrases);
    tt_phrase_rows_measure(phrases);
    if (!tt_phrases_measure_chance(phrases, err) || !measure_level(phrases, err)) {
        tt_phrases_close(phrases);
        return false;
    }
    return true;
}
