/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/misreads.h"

#include <stdlib.h>
#include <string.h>

#include "stages/misread_rows.h"
#include "stages/talk.h"
#include "stages/told.h"

static const double ask_from = 0.5;
/* Speech between is somebody's talk when so much of it is faint. */
static const double faint_share = 0.7;
/* Shorter is no pause, but a stop in mid-word or a place where a run was parted for the search. */
static const double torn_gap_s = 0.15, torn_confidence = 0.8;

struct deciding {
    const struct tt_phrases *phrases;
    const struct tt_settings *settings;
    const struct tt_knocks_found *knocks;
    struct tt_phrase_choice *choices;
    size_t parts;
};

static const double sure_enough = 0.99;

/* The surest first; among those that are very sure, the one that matches best and longest: a part of it may be a little surer than the whole. */
struct ranked { const struct tt_reread *reread; double certainty; };
static int by_rank(const void *a, const void *b)
{
    const struct ranked *x = a, *y = b;
    if (x->certainty != y->certainty) return x->certainty > y->certainty ? -1 : 1;
    if (x->reread->score != y->reread->score) return x->reread->score > y->reread->score ? -1 : 1;
    if (x->reread->first != y->reread->first) return x->reread->first < y->reread->first ? -1 : 1;
    return x->reread->again < y->reread->again ? -1 : x->reread->again > y->reread->again;
}

static enum tt_row_action action_for(const struct deciding *deciding, double confidence)
{
    bool is_sure = confidence >= deciding->settings->misreads.confidence;
    return is_sure && deciding->settings->misreads.action == TT_POLICY_CUT ? TT_DO_CUT : TT_DO_ASK;
}

/* Each phrase is given up once at most: the surest pair has it. */
static bool choose_misreads(struct deciding *deciding, const struct tt_rereads *rereads, struct tt_error *err)
{
    struct ranked *order = malloc((rereads->count ? rereads->count : 1) * sizeof *order);
    if (!order) return tt_fail_memory(err);
    for (size_t k = 0; k < rereads->count; k++) {
        double confidence = rereads->all[k].confidence;
        order[k] = (struct ranked){&rereads->all[k], confidence < sure_enough ? confidence : sure_enough};
    }
    qsort(order, rereads->count, sizeof *order, by_rank);
    for (size_t k = 0; k < rereads->count && order[k].certainty >= ask_from; k++) {
        const struct tt_reread *reread = order[k].reread;
        bool is_free = true;
        for (size_t p = reread->first; p <= reread->last; p++) is_free = is_free && deciding->choices[p].fate == TT_PHRASE_STAYS;
        if (!is_free) continue;
        size_t part = ++deciding->parts;
        for (size_t p = reread->first; p <= reread->last; p++)
            deciding->choices[p] = (struct tt_phrase_choice){.fate = TT_PHRASE_MISREAD, .action = action_for(deciding, reread->confidence),
                                                              .confidence = reread->confidence, .reread = reread, .part = part};
    }
    free(order);
    return true;
}

/* A reading that goes on without a pause, in words that are not read again, was not given up there: the line around it would be torn. Only a person can tell. */
static void ask_where_lines_would_tear(struct deciding *deciding)
{
    const struct tt_phrases *phrases = deciding->phrases;
    for (size_t p = 0; p + 1 < phrases->count; p++) {
        const struct tt_phrase_choice choice = deciding->choices[p];
        if (choice.fate != TT_PHRASE_MISREAD || !choice.reread || choice.reread->last != p || choice.reread->again == p + 1) continue;
        const struct tt_phrase *here = &phrases->all[p], *next = &phrases->all[p + 1];
        if (deciding->choices[p + 1].fate != TT_PHRASE_STAYS || next->take != here->take || next->start_s - here->end_s >= torn_gap_s) continue;
        for (size_t q = choice.reread->first; q <= p; q++) {
            deciding->choices[q].action = TT_DO_ASK;
            if (deciding->choices[q].confidence > torn_confidence) deciding->choices[q].confidence = torn_confidence;
        }
    }
}

static double seconds_of(const struct tt_phrase *phrase) { return phrase->end_s - phrase->start_s; }

/* What was said between a misread and its re-read, and is not read again itself. */
static void choose_talk(struct deciding *deciding, const struct tt_reread *reread)
{
    const struct tt_phrases *phrases = deciding->phrases;
    double faint_s = 0.0, loud_s = 0.0;
    for (size_t p = reread->last + 1; p < reread->again; p++) {
        if (deciding->choices[p].fate != TT_PHRASE_STAYS) continue;
        if (tt_reread_is_faint(phrases, reread, p)) faint_s += seconds_of(&phrases->all[p]);
        else loud_s += seconds_of(&phrases->all[p]);
    }
    /* At full level it may be the narrator talking to himself, or lines: behind a reading that was whole they are taken for lines, which stay. */
    const double most_s = deciding->settings->misreads.talk_most_s, all_s = faint_s + loud_s;
    bool is_faint = faint_s >= faint_share * all_s, was_broken_off = reread->seen[TT_SEEN_GOES_ON] > 0.0f;
    /* Nor is a second question asked about what lies between where the misread itself is a question. */
    if (!is_faint && (all_s > most_s || !was_broken_off || deciding->choices[reread->first].action == TT_DO_ASK)) return;
    enum tt_row_action action = is_faint && all_s <= most_s ? deciding->choices[reread->first].action : TT_DO_ASK;
    size_t part = ++deciding->parts;
    for (size_t p = reread->last + 1; p < reread->again; p++)
        if (deciding->choices[p].fate == TT_PHRASE_STAYS)
            deciding->choices[p] = (struct tt_phrase_choice){.fate = TT_PHRASE_TALK, .action = action, .confidence = reread->confidence, .reread = reread, .part = part};
}

static bool starts_a_misread(const struct deciding *deciding, size_t phrase)
{
    const struct tt_phrase_choice *choice = &deciding->choices[phrase];
    return choice->fate == TT_PHRASE_MISREAD && choice->reread && choice->reread->first == phrase;
}

/* What a person or a knock says comes first, then likeness, then what lies between. */
static bool choose(struct deciding *deciding, struct tt_phrases *phrases, struct tt_error *err)
{
    struct tt_rereads rereads;
    const enum tt_row_action told = deciding->settings->misreads.action == TT_POLICY_CUT ? TT_DO_CUT : TT_DO_ASK;
    if (!tt_rereads_find(phrases, deciding->settings->misreads.look_back_s, &rereads, err)) return false;
    bool is_done = tt_rereads_judge(phrases, &rereads, err);
    if (is_done) tt_told_mark_knocked(phrases, deciding->knocks, &rereads, told, deciding->choices, &deciding->parts);
    is_done = is_done && choose_misreads(deciding, &rereads, err);
    if (is_done) ask_where_lines_would_tear(deciding);
    for (size_t p = 0; is_done && p < phrases->count; p++)
        if (starts_a_misread(deciding, p)) choose_talk(deciding, deciding->choices[p].reread);
    if (is_done) tt_talk_choose(phrases, deciding->settings, deciding->choices, deciding->parts + 1);
    is_done = is_done && tt_misread_rows_propose(phrases, deciding->choices, err);
    tt_rereads_free(&rereads);
    return is_done;
}

static bool decide(struct deciding *deciding, struct tt_phrases *phrases, struct tt_error *err)
{
    const bool is_off = deciding->settings->misreads.action == TT_POLICY_OFF;
    if (!is_off && !(tt_rereads_split(phrases, err) && tt_rereads_split_clauses(phrases, err))) return false;
    deciding->choices = calloc(phrases->count ? phrases->count : 1, sizeof *deciding->choices);
    if (!deciding->choices) return tt_fail_memory(err);
    tt_told_mark_chosen(phrases, deciding->choices, &deciding->parts);
    return is_off ? tt_misread_rows_propose(phrases, deciding->choices, err) : choose(deciding, phrases, err);
}

static bool decide_readings(const struct tt_session_view *view, const struct tt_knocks_found *knocks, struct tt_error *err)
{
    struct tt_phrases phrases;
    if (!tt_phrases_open(view, knocks, &phrases, err)) return false;
    struct deciding deciding = {.phrases = &phrases, .settings = view->settings, .knocks = knocks};
    bool is_done = decide(&deciding, &phrases, err);
    free(deciding.choices);
    tt_phrases_close(&phrases);
    return is_done;
}

bool tt_misreads_decide(const struct tt_session_view *view, struct tt_error *err)
{
    struct tt_knocks_found knocks = {0};
    if (view->settings->misreads.knock && !tt_knocks_find(view, &knocks, err)) return false;
    bool has_readings = view->settings->misreads.action != TT_POLICY_OFF || tt_told_has_chosen(view);
    bool is_done = (!has_readings || decide_readings(view, &knocks, err)) && tt_knocks_propose(view, &knocks, err);
    tt_knocks_free(&knocks);
    return is_done;
}
