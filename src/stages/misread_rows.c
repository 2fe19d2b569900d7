/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/misread_rows.h"

#include <math.h>
#include <stdlib.h>

/* Guards beside words that stay: for under 0.1 % clipped edges 120 ms at 30 dB over the room and more, 160 in front and
 * 200 behind at 20 dB (measured on 1,600 phrases a level). */
static const double guard_ms = 120.0, guard_before_ms_per_db = 4.0, guard_behind_ms_per_db = 8.0, clear_db = 30.0,
                    murky_db = 10.0;
/* In front of what goes, only what the ear does not hear as its onset. */
static const double lead_ms = 15.0;
/* Nor does a word begin faintly for longer than this (of 117 readings in steady rooms none took 40 ms more); what does
 * is a restless room, and stays in its pause. */
static const double faint_onset_ms = 75.0;
/* How far the place at which somebody began anew without a pause may be wrong (measured on made ones: 60 to 150 ms, and
 * those that find it well). */
static const double split_before_ms = 80.0, split_behind_ms = 40.0;
/* A breath so near in front of a reading belongs to it; it keeps so much room. */
static const double breath_reach_ms = 500.0, breath_room_ms = 40.0;
/* In a noisy room a breath is heard in pieces, with such holes between them. */
static const double breath_hole_ms = 100.0;
/* The program never takes out more than this at once without asking. */
static const double most_at_once_ms = 30000.0;

struct edges {
    double start_ms, end_ms;
};

static double rate_of(const struct tt_phrases *phrases, size_t phrase)
{
    return phrases->view->takes[phrases->all[phrase].take].heard->facts.rate_hz;
}
static double start_ms_of(const struct tt_phrases *phrases, size_t phrase)
{
    return 1000.0 * (double)phrases->all[phrase].start_sample / rate_of(phrases, phrase);
}
static double end_ms_of(const struct tt_phrases *phrases, size_t phrase)
{
    return 1000.0 * (double)phrases->all[phrase].end_sample / rate_of(phrases, phrase);
}
/* Where a phrase that goes begins. */
static double leaving_ms_of(const struct tt_phrases *phrases, size_t phrase)
{
    double loud_ms = 1000.0 * (double)phrases->all[phrase].loud_start_sample / rate_of(phrases, phrase);
    return fmax(start_ms_of(phrases, phrase), loud_ms - faint_onset_ms);
}
static double take_end_ms(const struct tt_phrases *phrases, size_t phrase)
{
    return 1000.0 * (double)phrases->view->takes[phrases->all[phrase].take].heard->facts.frame_count /
           rate_of(phrases, phrase);
}
static bool is_first_of_take(const struct tt_phrases *phrases, size_t phrase)
{
    return phrase == 0 || phrases->all[phrase - 1].take != phrases->all[phrase].take;
}
static bool is_last_of_take(const struct tt_phrases *phrases, size_t phrase)
{
    return phrase + 1 >= phrases->count || phrases->all[phrase + 1].take != phrases->all[phrase].take;
}

static double guard(const struct tt_phrases *phrases, size_t phrase, double ms_per_db)
{
    double over_db = (double)phrases->all[phrase].over_floor_db;
    over_db = over_db > clear_db ? clear_db : over_db < murky_db ? murky_db : over_db;
    return guard_ms + ms_per_db * (clear_db - over_db);
}

/* Where the breath in front of a phrase begins, or the phrase itself when there is none. */
static double with_breath_ms(const struct tt_phrases *phrases, size_t phrase, double earliest_ms, bool *has_breath)
{
    const struct tt_heard *heard = phrases->view->takes[phrases->all[phrase].take].heard;
    double begin_ms = start_ms_of(phrases, phrase), reach_ms = breath_reach_ms,
           per_ms = rate_of(phrases, phrase) / 1000.0;
    *has_breath = false;
    for (size_t s = heard->sound_count; s-- > 0;) {
        const struct tt_sound *sound = &heard->sounds[s];
        double from = (double)sound->start_sample / per_ms, to = (double)sound->end_sample / per_ms;
        if (from >= begin_ms)
            continue;
        if (to < begin_ms - reach_ms || from < earliest_ms)
            break;
        if (sound->kind != TT_SOUND_BREATH)
            continue;
        *has_breath = true;
        begin_ms = from;
        reach_ms = breath_hole_ms;
    }
    return begin_ms;
}

/* The cut in front of a phrase: how much of the pause before it stays with it when it stays, or goes with it when it
 * goes. */
static double bound_before_ms(const struct tt_phrases *phrases, size_t phrase, bool stays)
{
    double before_ms = is_first_of_take(phrases, phrase) ? 0.0 : end_ms_of(phrases, phrase - 1);
    bool has_breath;
    double onset_ms = start_ms_of(phrases, phrase), from_ms = with_breath_ms(phrases, phrase, before_ms, &has_breath);
    /* Begun anew without a pause: where is not known exactly, and what stays must not lose its first sound, or its
     * last. */
    if (!is_first_of_take(phrases, phrase) && onset_ms <= before_ms)
        return stays ? onset_ms - split_before_ms : onset_ms + split_behind_ms;
    double room = stays ? guard(phrases, phrase, guard_before_ms_per_db) : lead_ms;
    double bound = (stays ? onset_ms : leaving_ms_of(phrases, phrase)) - room;
    double breath_room = stays ? breath_room_ms : lead_ms;
    if (has_breath && from_ms - breath_room < bound)
        bound = from_ms - breath_room;
    double least = before_ms;
    if (!is_first_of_take(phrases, phrase)) {
        double behind = guard(phrases, phrase - 1, guard_behind_ms_per_db), half = 0.5 * (onset_ms - before_ms);
        least += behind < half ? behind : half;
    }
    return bound < least ? least : bound;
}

static bool goes(const struct tt_phrase_choice *choice)
{
    return choice->fate != TT_PHRASE_STAYS && choice->action == TT_DO_CUT;
}

/* The row of phrases first .. last. */
static struct edges edges_of(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices, size_t first,
                             size_t last)
{
    struct edges edges = {bound_before_ms(phrases, first, false), take_end_ms(phrases, last)};
    if (!is_last_of_take(phrases, last))
        edges.end_ms = bound_before_ms(phrases, last + 1, !goes(&choices[last + 1]));
    return edges;
}

static size_t part_end(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices, size_t first)
{
    size_t last = first;
    while (!is_last_of_take(phrases, last) && choices[last + 1].fate == choices[first].fate &&
           choices[last + 1].part == choices[first].part)
        last++;
    return last;
}

/* Asks about whatever lies in a stretch that would go at once and is too long for that. */
static void hold_back(const struct tt_phrases *phrases, struct tt_phrase_choice *choices)
{
    for (size_t p = 0; p < phrases->count;) {
        if (!goes(&choices[p])) {
            p++;
            continue;
        }
        size_t last = p;
        while (!is_last_of_take(phrases, last) && goes(&choices[last + 1]))
            last++;
        struct edges edges = edges_of(phrases, choices, p, last);
        if (edges.end_ms - edges.start_ms > most_at_once_ms)
            for (size_t k = p; k <= last; k++)
                if (!choices[k].chosen_in)
                    choices[k].action = TT_DO_ASK;
        p = last + 1;
    }
}

/* The reading that stays in place of one: several in a row may be given up. */
static const struct tt_reread *last_reread(const struct tt_phrase_choice *choices, const struct tt_reread *reread)
{
    while (choices[reread->again].fate == TT_PHRASE_MISREAD && goes(&choices[reread->again]) &&
           choices[reread->again].reread)
        reread = choices[reread->again].reread;
    return reread;
}

/* A reading may be given up itself from some phrase on: what stays of it. */
static size_t last_that_stays(const struct tt_phrase_choice *choices, const struct tt_reread *reread)
{
    size_t last = reread->again;
    while (last < reread->again_last && !goes(&choices[last + 1]))
        last++;
    return last;
}

static char *note_of(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices,
                     const struct tt_phrase_choice *choice)
{
    if (choice->fate == TT_PHRASE_TALK)
        return tt_copy_string("between the misread and its re-read");
    if (choice->fate == TT_PHRASE_TALK_ELSEWHERE)
        return tt_copy_string(choice->is_others ? "said into another microphone"
                                                : "fainter than the lines, or apart from them");
    const struct tt_reread *reread = choice->reread;
    if (choice->chosen_in)
        return tt_format("an earlier reading was chosen, in %s", choice->chosen_in);
    if (!reread)
        return tt_copy_string(choice->is_knocked ? "two knocks behind it"
                                                 : "it stops in mid-word, and nothing replaces it");
    char from[TT_TIME_CHARS], to[TT_TIME_CHARS];
    reread = last_reread(choices, reread);
    tt_time_format((int64_t)llround(start_ms_of(phrases, reread->again)), from);
    tt_time_format((int64_t)llround(end_ms_of(phrases, last_that_stays(choices, reread))), to);
    size_t take = phrases->all[reread->again].take;
    if (take == phrases->all[choice->reread->first].take)
        return tt_format("read again %s-%s", from, to);
    return tt_format("read again %s-%s, in %s", from, to, phrases->view->takes[take].name);
}

static bool propose(const struct tt_phrases *phrases, const struct tt_phrase_choice *choices, size_t first, size_t last,
                    struct tt_error *err)
{
    const struct tt_phrase_choice *choice = &choices[first];
    struct edges edges = edges_of(phrases, choices, first, last);
    struct tt_row row = {.start_ms = (int64_t)ceil(edges.start_ms),
                         .end_ms = (int64_t)floor(edges.end_ms),
                         .kind = choice->fate == TT_PHRASE_MISREAD ? TT_ROW_MISREAD : TT_ROW_TALK,
                         .proposed = choice->action,
                         .action = choice->action,
                         .amount = NAN,
                         .confidence = floor(choice->confidence * 100.0) / 100.0,
                         .note = note_of(phrases, choices, choice)};
    if (!row.note)
        return tt_fail_memory(err);
    /* Neighbouring rows share an edge: rounding must not leave a millisecond between them. */
    if (!is_first_of_take(phrases, first) && goes(&choices[first - 1]) && goes(choice))
        row.start_ms = (int64_t)floor(edges.start_ms);
    bool is_done =
        row.end_ms <= row.start_ms || tt_sheet_propose(phrases->view->takes[phrases->all[first].take].sheet, &row, err);
    free(row.note);
    return is_done;
}

bool tt_misread_rows_propose(const struct tt_phrases *phrases, struct tt_phrase_choice *choices, struct tt_error *err)
{
    hold_back(phrases, choices);
    for (size_t p = 0; p < phrases->count;) {
        size_t last = part_end(phrases, choices, p);
        if (choices[p].fate != TT_PHRASE_STAYS && !propose(phrases, choices, p, last, err))
            return false;
        p = last + 1;
    }
    return true;
}
