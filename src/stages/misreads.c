/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/misreads.h"

#include <stdlib.h>
#include <string.h>

#include "stages/broken_off.h"
#include "stages/coughs.h"
#include "stages/misread_doubts.h"
#include "stages/misread_reach.h"
#include "stages/misread_rows.h"
#include "stages/sayings.h"
#include "stages/talk.h"
#include "stages/told.h"

static const double ask_from = 0.5;
/* Speech between is somebody's talk when so much of it is faint. */
static const double faint_share = 0.7;
/* But what is so short and runs into the re-read is its first syllable, however faint: 'be-gin'. */
static const double syllable_most_s = 0.3;

struct deciding {
    const struct tt_phrases *phrases;
    const struct tt_settings *settings;
    const struct tt_knocks_found *knocks;
    struct tt_phrase_choice *choices;
    size_t parts;
};

static const double sure_enough = 0.999;
/* Of choosing: two are enough as a rule. */
enum { MOST_ROUNDS = 8 };

/* The surest first; among those that are very sure, the one that matches best and longest: a part of it may be a little
 * surer than the whole. */
struct ranked {
    const struct tt_reread *reread;
    double certainty;
};
static int by_rank(const void *a, const void *b)
{
    const struct ranked *x = a, *y = b;
    if (x->certainty != y->certainty)
        return x->certainty > y->certainty ? -1 : 1;
    if (x->reread->score != y->reread->score)
        return x->reread->score > y->reread->score ? -1 : 1;
    if (x->reread->first != y->reread->first)
        return x->reread->first < y->reread->first ? -1 : 1;
    return x->reread->again < y->reread->again ? -1 : x->reread->again > y->reread->again;
}

static enum tt_row_action action_for(const struct deciding *deciding, double confidence)
{
    bool is_sure = confidence >= deciding->settings->misreads.confidence;
    return is_sure && deciding->settings->misreads.action == TT_POLICY_CUT ? TT_DO_CUT : TT_DO_ASK;
}

static int by_first(const void *a, const void *b)
{
    const struct tt_reread *x = ((const struct ranked *)a)->reread, *y = ((const struct ranked *)b)->reread;
    if (x->first != y->first)
        return x->first < y->first ? -1 : 1;
    return x->again < y->again ? -1 : x->again > y->again;
}

static double certainty_of(const struct tt_reread *reread)
{
    return reread->confidence < sure_enough ? reread->confidence : sure_enough;
}

/* Of three tries 'a b | a b | a b' the first two also hold a 'b a' that comes again. It is out of step: inside it
 * something begins anew that began before it. */
static bool is_out_of_step(const struct tt_reread *reread, const struct tt_reread *const *begun)
{
    for (size_t p = reread->first + 1; p <= reread->last; p++) {
        const struct tt_reread *other = begun[p];
        if (other && other->first < reread->first && other->last >= reread->first &&
            certainty_of(other) >= certainty_of(reread))
            return true;
    }
    return false;
}

/* Takes the certainty from pairs out of step. order is sorted anew. */
static bool keep_in_step(const struct tt_phrases *phrases, struct ranked *order, size_t count, struct tt_error *err)
{
    const struct tt_reread **begun =
        calloc(phrases->count ? phrases->count : 1,
               sizeof *begun); /* for each phrase, the best that is read again from it on */
    if (!begun)
        return tt_fail_memory(err);
    qsort(order, count, sizeof *order, by_first);
    for (size_t k = 0; k < count; k++) {
        const struct tt_reread *reread = order[k].reread, **best = &begun[reread->again];
        if (is_out_of_step(reread, begun))
            order[k].certainty = 0.0;
        else if (!*best || reread->score > (*best)->score)
            *best = reread;
    }
    free(begun);
    return true;
}

/* Each phrase is given up once at most: the surest pair has it. */
static bool choose_misreads(struct deciding *deciding, const struct tt_rereads *rereads, struct tt_error *err)
{
    struct ranked *order = malloc((rereads->count ? rereads->count : 1) * sizeof *order);
    if (!order)
        return tt_fail_memory(err);
    for (size_t k = 0; k < rereads->count; k++)
        order[k] = (struct ranked){&rereads->all[k], certainty_of(&rereads->all[k])};
    bool is_done = keep_in_step(deciding->phrases, order, rereads->count, err);
    qsort(order, rereads->count, sizeof *order, by_rank);
    for (size_t k = 0; is_done && k < rereads->count && order[k].certainty >= ask_from; k++) {
        const struct tt_reread *reread = order[k].reread;
        bool is_free = true;
        for (size_t p = reread->first; p <= reread->last; p++)
            is_free = is_free && deciding->choices[p].fate == TT_PHRASE_STAYS;
        /* What somebody else said replaces no line: it goes out itself. */
        for (size_t p = reread->again; p <= reread->again_last; p++)
            is_free = is_free && !deciding->choices[p].is_others;
        if (!is_free)
            continue;
        size_t part = ++deciding->parts;
        for (size_t p = reread->first; p <= reread->last; p++)
            deciding->choices[p] = (struct tt_phrase_choice){.fate = TT_PHRASE_MISREAD,
                                                             .action = action_for(deciding, reread->confidence),
                                                             .confidence = reread->confidence,
                                                             .reread = reread,
                                                             .part = part};
    }
    free(order);
    return is_done;
}

static double seconds_of(const struct tt_phrase *phrase) { return phrase->end_s - phrase->start_s; }

static bool leads_in(const struct tt_phrases *phrases, const struct tt_reread *reread, size_t phrase)
{
    return tt_phrases_flow(phrases, phrase) &&
           (!tt_reread_is_faint(phrases, reread, phrase) || seconds_of(&phrases->all[phrase]) <= syllable_most_s);
}

/* Marks the readings that replace others and stay, with what leads into them and out of them at once: they are wanted,
 * be their ends ever so faint. */
static void mark_replacing(const struct deciding *deciding, bool *replaces)
{
    const struct tt_phrases *phrases = deciding->phrases;
    for (size_t p = 0; p < phrases->count; p++) {
        if (!tt_phrase_starts_misread(deciding->choices, p))
            continue;
        const struct tt_reread *reread = deciding->choices[p].reread;
        if (deciding->choices[reread->again].fate != TT_PHRASE_STAYS)
            continue;
        size_t first = reread->again, last = reread->again_last;
        while (first > reread->last + 1 && leads_in(phrases, reread, first - 1))
            first--;
        while (tt_phrases_flow(phrases, last))
            last++;
        for (size_t q = first; q <= last; q++)
            replaces[q] = true;
    }
}

static bool may_be_talk(const struct deciding *deciding, size_t phrase, const bool *replaces)
{
    const struct tt_phrase_choice *choice = &deciding->choices[phrase];
    return choice->is_others || (choice->fate == TT_PHRASE_STAYS && !replaces[phrase]);
}

/* What was said between a misread and its re-read, and is not read again itself. */
static void choose_talk(struct deciding *deciding, const struct tt_reread *reread, const bool *replaces)
{
    const struct tt_phrases *phrases = deciding->phrases;
    double faint_s = 0.0, loud_s = 0.0;
    for (size_t p = reread->last + 1; p < reread->again; p++) {
        if (!may_be_talk(deciding, p, replaces))
            continue;
        if (deciding->choices[p].is_others || phrases->all[p].is_saying || tt_reread_is_faint(phrases, reread, p))
            faint_s += seconds_of(&phrases->all[p]);
        else
            loud_s += seconds_of(&phrases->all[p]);
    }
    /* At full level it may be the narrator talking to himself, or lines: behind a reading that was whole they are taken
     * for lines, which stay. */
    const double most_s = deciding->settings->misreads.talk_most_s, all_s = faint_s + loud_s;
    const bool is_faint = faint_s >= faint_share * all_s, was_broken_off = reread->seen[TT_SEEN_GOES_ON] > 0.0f;
    /* Nor is a second question asked about what lies between where it is not sure that the misread is one. */
    const bool is_sure = deciding->choices[reread->first].confidence >= deciding->settings->misreads.confidence;
    if (!is_sure || (!is_faint && (all_s > most_s || !was_broken_off)))
        return;
    enum tt_row_action action = is_faint && all_s <= most_s ? deciding->choices[reread->first].action : TT_DO_ASK;
    size_t part = ++deciding->parts;
    for (size_t p = reread->last + 1; p < reread->again; p++)
        /* Somebody else's words are talk all the same, and what becomes of them is known already. */
        if (may_be_talk(deciding, p, replaces) && (action == TT_DO_CUT || !deciding->choices[p].is_others))
            deciding->choices[p] = (struct tt_phrase_choice){.fate = TT_PHRASE_TALK,
                                                             .action = action,
                                                             .confidence = reread->confidence,
                                                             .reread = reread,
                                                             .part = part};
}

/* Of what is read again nowhere: talk, and lines that were broken off. */
static bool choose_among_the_rest(struct deciding *deciding, struct tt_error *err)
{
    const size_t count = deciding->phrases->count;
    bool *replaces = calloc(count ? count : 1, sizeof *replaces);
    if (!replaces)
        return tt_fail_memory(err);
    mark_replacing(deciding, replaces);
    tt_misread_reach_extend(deciding->phrases, replaces, deciding->choices);
    for (size_t p = 0; p < count; p++)
        if (tt_phrase_starts_misread(deciding->choices, p))
            choose_talk(deciding, deciding->choices[p].reread, replaces);
    tt_talk_choose(deciding->phrases, deciding->settings, replaces, deciding->choices, &deciding->parts);
    tt_broken_off_choose(deciding->phrases, replaces, deciding->choices, &deciding->parts);
    free(replaces);
    return true;
}

static void note_given_up(const struct deciding *deciding, bool *given_up)
{
    for (size_t p = 0; p < deciding->phrases->count; p++)
        given_up[p] = deciding->choices[p].fate == TT_PHRASE_MISREAD;
}

/* What was taken for a misread between two others may turn out to stay: then those are less sure, and all is chosen
 * anew, until nothing more turns out so. */
static bool choose_misreads_in_rounds(struct deciding *deciding, struct tt_rereads *rereads, struct tt_error *err)
{
    const size_t count = deciding->phrases->count ? deciding->phrases->count : 1;
    struct tt_phrase_choice *told = malloc(count * sizeof *told);
    bool *given_up = calloc(count, sizeof *given_up);
    bool is_done = (told && given_up) || tt_fail_memory(err);
    if (is_done)
        memcpy(told, deciding->choices, count * sizeof *told);
    is_done = is_done && choose_misreads(deciding, rereads, err);
    for (int round = 1; is_done && round < MOST_ROUNDS; round++) {
        note_given_up(deciding, given_up);
        if (!tt_rereads_judge_again(deciding->phrases, rereads, given_up))
            break;
        memcpy(deciding->choices, told, count * sizeof *told);
        is_done = choose_misreads(deciding, rereads, err);
    }
    free(told);
    free(given_up);
    return is_done;
}

/* What a person or a knock says comes first, then likeness, then what lies between. */
static bool choose(struct deciding *deciding, struct tt_phrases *phrases, struct tt_rereads *rereads,
                   struct tt_error *err)
{
    const enum tt_row_action told = deciding->settings->misreads.action == TT_POLICY_CUT ? TT_DO_CUT : TT_DO_ASK;
    if (!tt_rereads_judge(phrases, rereads, err))
        return false;
    tt_told_mark_knocked(phrases, deciding->knocks, rereads, told, deciding->choices, &deciding->parts);
    tt_talk_choose_others(phrases, deciding->settings, deciding->choices, &deciding->parts);
    if (!choose_misreads_in_rounds(deciding, rereads, err) || !tt_misread_doubts_ask(phrases, deciding->choices, err) ||
        !choose_among_the_rest(deciding, err))
        return false;
    tt_cough_strokes_stay(phrases, deciding->choices);
    return tt_misread_rows_propose(phrases, deciding->choices, err);
}

static bool find_rereads(const struct deciding *deciding, struct tt_phrases *phrases, struct tt_rereads *rereads,
                         struct tt_error *err)
{
    return tt_rereads_split(phrases, err) && tt_rereads_split_clauses(phrases, err) &&
           tt_sayings_find(phrases, deciding->settings->misreads.look_back_s, rereads, err);
}

static bool decide(struct deciding *deciding, struct tt_phrases *phrases, struct tt_error *err)
{
    const bool is_off = deciding->settings->misreads.action == TT_POLICY_OFF;
    struct tt_rereads rereads = {0};
    if (!is_off && !find_rereads(deciding, phrases, &rereads, err))
        return false;
    deciding->choices = calloc(phrases->count ? phrases->count : 1, sizeof *deciding->choices);
    bool is_done = deciding->choices || tt_fail_memory(err);
    if (is_done)
        tt_told_mark_chosen(phrases, deciding->choices, &deciding->parts);
    is_done = is_done && (is_off ? tt_misread_rows_propose(phrases, deciding->choices, err)
                                 : choose(deciding, phrases, &rereads, err));
    tt_rereads_free(&rereads);
    return is_done;
}

static bool decide_readings(const struct tt_session_view *view, const struct tt_knocks_found *knocks,
                            struct tt_error *err)
{
    struct tt_phrases phrases;
    if (!tt_phrases_open(view, knocks, &phrases, err))
        return false;
    struct deciding deciding = {.phrases = &phrases, .settings = view->settings, .knocks = knocks};
    bool is_done = decide(&deciding, &phrases, err);
    free(deciding.choices);
    tt_phrases_close(&phrases);
    return is_done;
}

bool tt_misreads_decide(const struct tt_session_view *view, struct tt_error *err)
{
    struct tt_knocks_found knocks = {0};
    if (view->settings->misreads.knock && !tt_knocks_find(view, &knocks, err))
        return false;
    bool has_readings = view->settings->misreads.action != TT_POLICY_OFF || tt_told_has_chosen(view);
    bool is_done = (!has_readings || decide_readings(view, &knocks, err)) && tt_knocks_propose(view, &knocks, err);
    tt_knocks_free(&knocks);
    return is_done;
}
