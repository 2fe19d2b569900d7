/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/knocks.h"

#include <math.h>
#include <stdlib.h>

#include "base/grow.h"

/* A knock rings for less than this; the shortest syllables that stand alone are longer (measured on knocks, snaps and
 * clicks of our own making). */
static const double knock_most_ms = 140.0;
/* So far apart, beginning to beginning. */
static const double apart_least_ms = 70.0, apart_most_ms = 1000.0;
/* Loud against the lines, as a mean over its whole length: lips and chairs are fainter. And clear of the room. */
static const float under_lines_most_db = 24.0f, over_floor_least_db = 6.0f;
/* Both are made alike. */
static const float unlike_most_db = 9.0f;
/* A short run of speech counts as a knock only when it is hardly voiced, or beside a sound that is none (wood hums a
 * little). */
static const float voiced_most = 0.75f;
/* What rings on behind the last one goes with it, and a little of what comes before the first. */
static const double lead_ms = 20.0, ring_ms = 60.0;
static const double certainty = 0.95;

/* A sound or a run, in the order of time. */
struct stroke {
    int64_t start, end;
    float level_db, over_db;
    bool may_be, is_speech;
};

static struct stroke stroke_of_run(const struct tt_heard *heard, const struct tt_run *run)
{
    double ms = 1000.0 * (double)(run->end_sample - run->start_sample) / heard->facts.rate_hz;
    bool may_be = ms <= knock_most_ms && run->voiced_share <= voiced_most;
    return (struct stroke){run->start_sample, run->end_sample, run->level_db, run->over_floor_db, may_be, true};
}

static struct stroke stroke_of_sound(const struct tt_heard *heard, const struct tt_sound *sound)
{
    double ms = 1000.0 * (double)(sound->end_sample - sound->start_sample) / heard->facts.rate_hz;
    bool may_be = ms <= knock_most_ms && sound->kind != TT_SOUND_BREATH;
    return (struct stroke){
        sound->start_sample, sound->end_sample, sound->level_db, sound->over_floor_db, may_be, false};
}

static bool add(struct tt_knocks_found *found, struct tt_knocks knocks, struct tt_error *err)
{
    struct tt_knocks *all = tt_grow(found->all, found->count, &found->capacity, sizeof *all, err);
    if (!all)
        return false;
    found->all = all;
    found->all[found->count++] = knocks;
    return true;
}

static bool are_a_pair(const struct stroke *a, const struct stroke *b, double rate_hz)
{
    double apart_ms = 1000.0 * (double)(b->start - a->start) / rate_hz;
    return a->may_be && b->may_be && apart_ms >= apart_least_ms && apart_ms <= apart_most_ms &&
           fabsf(a->level_db - b->level_db) <= unlike_most_db;
}

static bool find_in_take(const struct tt_session_view *view, size_t t, struct tt_knocks_found *found,
                         struct tt_error *err)
{
    const struct tt_heard *heard = view->takes[t].heard;
    const size_t before = found->count;
    struct stroke last = {0};
    for (size_t r = 0, s = 0; r < heard->run_count || s < heard->sound_count;) {
        bool is_run = s == heard->sound_count ||
                      (r < heard->run_count && heard->runs[r].start_sample < heard->sounds[s].start_sample);
        struct stroke next =
            is_run ? stroke_of_run(heard, &heard->runs[r++]) : stroke_of_sound(heard, &heard->sounds[s++]);
        next.may_be = next.may_be && (double)next.level_db >= heard->facts.speech_dbfs - (double)under_lines_most_db &&
                      next.over_db >= over_floor_least_db;
        /* What is fainter, such as a breath between the two, does not part them; speech does. */
        if (!next.may_be && !next.is_speech)
            continue;
        if (are_a_pair(&last, &next, heard->facts.rate_hz)) {
            struct tt_knocks *open = found->count > before ? &found->all[found->count - 1] : NULL;
            if (open && open->end_sample == last.end)
                open->end_sample = next.end;
            else if (!add(found, (struct tt_knocks){t, last.start, next.end}, err))
                return false;
        }
        last = next;
    }
    return true;
}

bool tt_knocks_find(const struct tt_session_view *view, struct tt_knocks_found *found, struct tt_error *err)
{
    *found = (struct tt_knocks_found){0};
    for (size_t t = 0; t < view->count; t++)
        if (view->takes[t].heard->facts.rate_hz > 0 && !find_in_take(view, t, found, err)) {
            tt_knocks_free(found);
            return false;
        }
    return true;
}

void tt_knocks_free(struct tt_knocks_found *found)
{
    free(found->all);
    *found = (struct tt_knocks_found){0};
}

bool tt_knocks_hold(const struct tt_knocks_found *found, size_t take, const struct tt_run *run)
{
    size_t low = 0, high = found ? found->count : 0;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        const struct tt_knocks *knocks = &found->all[middle];
        if (knocks->take < take || (knocks->take == take && knocks->end_sample <= run->start_sample))
            low = middle + 1;
        else
            high = middle;
    }
    return found && low < found->count && found->all[low].take == take &&
           found->all[low].start_sample <= run->start_sample && run->end_sample <= found->all[low].end_sample;
}

/* The nearest speech on both sides bounds what goes: half the way to it at most. */
static struct tt_span span_of(const struct tt_heard *heard, const struct tt_knocks_found *found,
                              const struct tt_knocks *knocks)
{
    double per_ms = heard->facts.rate_hz / 1000.0, start = (double)knocks->start_sample / per_ms,
           end = (double)knocks->end_sample / per_ms;
    double from = start - lead_ms, to = end + ring_ms, take_end = (double)heard->facts.frame_count / per_ms;
    for (size_t r = 0; r < heard->run_count; r++) {
        if (tt_knocks_hold(found, knocks->take, &heard->runs[r]))
            continue;
        double run_start = (double)heard->runs[r].start_sample / per_ms,
               run_end = (double)heard->runs[r].end_sample / per_ms;
        if (run_end <= start && from < 0.5 * (run_end + start))
            from = 0.5 * (run_end + start);
        if (run_start >= end && to > 0.5 * (run_start + end))
            to = 0.5 * (run_start + end);
    }
    return (struct tt_span){(int64_t)ceil(from < 0.0 ? 0.0 : from), (int64_t)floor(to > take_end ? take_end : to)};
}

static bool is_out(const struct tt_sheet *sheet, struct tt_span span)
{
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        if (row->action == TT_DO_CUT && row->start_ms <= span.start_ms && span.end_ms <= row->end_ms)
            return true;
    }
    return false;
}

bool tt_knocks_propose(const struct tt_session_view *view, const struct tt_knocks_found *found, struct tt_error *err)
{
    for (size_t k = 0; k < found->count; k++) {
        const struct tt_take_view *take = &view->takes[found->all[k].take];
        struct tt_span span = span_of(take->heard, found, &found->all[k]);
        if (span.end_ms <= span.start_ms || is_out(take->sheet, span))
            continue;
        struct tt_row row = {.start_ms = span.start_ms,
                             .end_ms = span.end_ms,
                             .kind = TT_ROW_NOISE,
                             .proposed = TT_DO_CUT,
                             .action = TT_DO_CUT,
                             .amount = NAN,
                             .confidence = certainty,
                             .note = "two knocks"};
        if (!tt_sheet_propose(take->sheet, &row, err))
            return false;
    }
    return true;
}
