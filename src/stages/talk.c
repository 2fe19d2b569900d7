/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/talk.h"

#include <math.h>

/* All of this is modest on purpose, and from our own sessions (no source): a question too many is worse than one too
 * few. */
static const float much_fainter_db = 9.0f, somewhat_fainter_db = 6.0f;
static const double least_talk_s = 0.5;   /* shorter runs are the tails of lines */
static const double least_pause_s = 0.35; /* and what follows a line at once belongs to it */
static const double apart_s = 2.5;
static const double least_others_share = 0.7; /* a line that somebody speaks into stays a line */
/* Certainty by how much fainter: even odds at 8 dB, 0.9 at 14 dB. */
static const double even_db = 8.0, db_per_logit = 2.7;

struct block {
    size_t first, last;
};

static float fainter_db(const struct tt_phrases *phrases, size_t phrase)
{
    return phrases->typical_level_db - phrases->all[phrase].level_db;
}

static bool is_edge(const struct tt_phrases *phrases, size_t before, size_t after)
{
    return before >= phrases->count || after >= phrases->count || phrases->all[before].take != phrases->all[after].take;
}

static double pause_s(const struct tt_phrases *phrases, size_t before, size_t after)
{
    return is_edge(phrases, before, after) ? HUGE_VAL : phrases->all[after].start_s - phrases->all[before].end_s;
}

/* How much fainter a block is, and whether that makes it talk. */
static bool judge(const struct tt_phrases *phrases, struct block block, double *confidence)
{
    double seconds = 0.0, before_s = pause_s(phrases, block.first - 1, block.first),
           after_s = pause_s(phrases, block.last, block.last + 1);
    float least_db = HUGE_VALF;
    for (size_t p = block.first; p <= block.last; p++) {
        seconds += phrases->all[p].end_s - phrases->all[p].start_s;
        if (fainter_db(phrases, p) < least_db)
            least_db = fainter_db(phrases, p);
    }
    bool has_lines = !isinf(before_s) || !isinf(after_s);
    bool is_apart = has_lines && (isinf(before_s) || isinf(after_s)) && fmin(before_s, after_s) >= apart_s;
    if (!has_lines || seconds < least_talk_s || fmin(before_s, after_s) < least_pause_s)
        return false;
    if (least_db < (is_apart ? somewhat_fainter_db : much_fainter_db))
        return false;
    *confidence = 1.0 / (1.0 + exp(-((double)least_db + (is_apart ? 3.0 : 0.0) - even_db) / db_per_logit));
    return true;
}

/* The share of a phrase in which somebody else spoke into a channel of their own. */
static double others_share(const struct tt_phrases *phrases, size_t p)
{
    const struct tt_phrase *phrase = &phrases->all[p];
    const struct tt_heard *heard = phrases->view->takes[phrase->take].heard;
    int64_t covered = 0;
    for (size_t i = 0; i < heard->other_count; i++) {
        const int64_t from =
            heard->others[i].start > phrase->loud_start_sample ? heard->others[i].start : phrase->loud_start_sample;
        const int64_t to =
            heard->others[i].end < phrase->loud_end_sample ? heard->others[i].end : phrase->loud_end_sample;
        if (to > from)
            covered += to - from;
    }
    return (double)covered / (double)(phrase->loud_end_sample - phrase->loud_start_sample + 1);
}

static struct tt_phrase_choice talk(const struct tt_settings *settings, double confidence, size_t part)
{
    bool goes = settings->misreads.talk == TT_POLICY_CUT && confidence >= settings->misreads.confidence;
    return (struct tt_phrase_choice){.fate = TT_PHRASE_TALK_ELSEWHERE,
                                     .action = goes ? TT_DO_CUT : TT_DO_ASK,
                                     .confidence = confidence,
                                     .part = part};
}

void tt_talk_choose_others(const struct tt_phrases *phrases, const struct tt_settings *settings,
                           struct tt_phrase_choice *choices, size_t *parts)
{
    if (settings->misreads.talk == TT_POLICY_OFF)
        return;
    bool goes_on = false;
    size_t part = *parts + 1;
    for (size_t p = 0; p < phrases->count; p++) {
        const double share = choices[p].fate == TT_PHRASE_STAYS ? others_share(phrases, p) : 0.0;
        if (share < least_others_share) {
            part += goes_on;
            goes_on = false;
            continue;
        }
        if (goes_on && is_edge(phrases, p - 1, p))
            part++;
        choices[p] = talk(settings, 0.5 + 0.5 * fmin(share, 0.99), part);
        choices[p].is_others = true;
        goes_on = true;
    }
    *parts = part - !goes_on;
}

static bool may_be_talk(const struct tt_phrases *phrases, const bool *wanted, const struct tt_phrase_choice *choices,
                        size_t p)
{
    return choices[p].fate == TT_PHRASE_STAYS && !wanted[p] && fainter_db(phrases, p) >= somewhat_fainter_db;
}

void tt_talk_choose(const struct tt_phrases *phrases, const struct tt_settings *settings, const bool *wanted,
                    struct tt_phrase_choice *choices, size_t *parts)
{
    if (settings->misreads.talk == TT_POLICY_OFF)
        return;
    for (size_t p = 0; p < phrases->count;) {
        struct block block = {p, p};
        if (!may_be_talk(phrases, wanted, choices, p)) {
            p++;
            continue;
        }
        while (!is_edge(phrases, block.last, block.last + 1) && may_be_talk(phrases, wanted, choices, block.last + 1))
            block.last++;
        double confidence;
        if (judge(phrases, block, &confidence)) {
            ++*parts;
            for (size_t k = block.first; k <= block.last; k++)
                choices[k] = talk(settings, confidence, *parts);
        }
        p = block.last + 1;
    }
}
