/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Lines that were read again at the end, or days later, lie far behind the readings they are meant for. Where a short
 * take says what an earlier one said, and nothing was decided about that, the place is named, as the row of order.csv
 * that would put it there. A person decides. */
#include <math.h>

#include "session/advice.h"
#include "session/recorded.h"
#include "stages/rereads.h"

/* A pick-up is some lines; a longer take is a session of its own. Its partner is looked through once a pick-up: so
 * much, and the time stays small. */
static const double pickup_most_s = 120, partner_most_s = 1800;
/* By likeness alone: how sure one is that a reading was given up (struct tt_reread) goes by what stands between the
 * two, and here much does. Of 55 second readings of whole lines 54 lay over all of this at the right place (scores of
 * 84 to 243), none of 55 other lines came over a score of 33. Of three words at least, without a whole other word in
 * it, and nothing of the first reading left over. */
static const float least_score = 60, least_worst = 3, most_rest_share = 0.15f;
static const double least_s = 1.0;
/* Within reach of a re-read, misreads have looked at the lines and left them alone; a take that says little else than a
 * line from earlier is still a pick-up. Of 26 sessions of prompts, some of which say the same words, none is named by
 * this, two are without it. */
static const double near_least_share = 0.5;
enum { CANDIDATES_MOST = 24 };

static bool takes_part(const struct tt_take *take)
{
    return tt_take_is_decided(take) && !take->is_pickup && take->heard.run_count > 0;
}

static double speech_s(const struct tt_take *take)
{
    double samples = 0;
    for (size_t i = 0; i < take->heard.run_count; i++)
        samples += (double)(take->heard.runs[i].end_sample - take->heard.runs[i].start_sample);
    return samples / take->heard.facts.rate_hz;
}

/* Recorded on another day than a take before it in the order, or the last of the session: where new files sort. */
static bool is_candidate(const struct tt_run_state *run, size_t index)
{
    const struct tt_take *take = &run->takes[index];
    bool is_first = true, is_last = true, is_later = false;
    for (size_t i = 0; i < run->take_count; i++) {
        if (!takes_part(&run->takes[i]))
            continue;
        is_first = is_first && i >= index;
        is_last = is_last && i <= index;
        is_later = is_later || (i < index && tt_recorded_on_other_days(&run->takes[i], take));
    }
    return takes_part(take) && !is_first && speech_s(take) <= pickup_most_s && (is_last || is_later);
}

/* Something was decided about these lines, or is asked already. */
static bool is_decided(const struct tt_take *take, double from_s, double to_s)
{
    double covered_s = 0;
    for (size_t i = 0; i < take->sheet.count; i++) {
        const struct tt_row *row = &take->sheet.rows[i];
        if (row->kind == TT_ROW_MISREAD || row->kind == TT_ROW_TALK || row->kind == TT_ROW_OTHER)
            covered_s += fmax(0, fmin(to_s, (double)row->end_ms / 1000) - fmax(from_s, (double)row->start_ms / 1000));
    }
    return 2 * covered_s >= to_s - from_s;
}

struct match {
    const struct tt_take *partner;
    double partner_from_s, partner_to_s, own_from_s, own_to_s, score;
};

/* The best place for the pick-up in one take. */
static bool find_in(const struct tt_run_state *run, struct tt_take *partner, struct tt_take *pickup, double own_least_s,
                    struct match *best, struct tt_error *err)
{
    const double length_s = (double)partner->heard.facts.frame_count / partner->heard.facts.rate_hz;
    struct tt_take_view takes[2] = {
        {.name = partner->file->name, .heard = &partner->heard, .sheet = &partner->sheet},
        {.name = pickup->file->name, .heard = &pickup->heard, .sheet = &pickup->sheet, .clock_s = length_s}};
    struct tt_session_view view = {.takes = takes, .count = 2, .settings = &run->settings};
    struct tt_phrases phrases;
    struct tt_rereads found = {0};
    if (!tt_phrases_open(&view, NULL, &phrases, err))
        return false;
    bool ok = tt_rereads_find(&phrases, length_s + pickup_most_s * 4, true, &found, err);
    for (size_t i = 0; ok && i < found.count; i++) {
        const struct tt_reread *reread = &found.all[i];
        const struct tt_phrase *first = &phrases.all[reread->first], *last = &phrases.all[reread->last],
                               *again = &phrases.all[reread->again], *again_last = &phrases.all[reread->again_last];
        const double own_s = again_last->end_s - again->start_s;
        if (first->take != 0 || last->take != 0 || again->take != 1 || again_last->take != 1 || own_s < own_least_s ||
            reread->score < least_score || reread->seen[TT_SEEN_WORST_LONG] < least_worst ||
            reread->seen[TT_SEEN_REST_SHARE] > most_rest_share || reread->score <= best->score ||
            is_decided(partner, first->start_s, last->end_s))
            continue;
        *best = (struct match){
            partner,      first->start_s, last->end_s, again->start_s - length_s, again_last->end_s - length_s,
            reread->score};
    }
    tt_rereads_free(&found);
    tt_phrases_close(&phrases);
    return ok;
}

static void tell(struct tt_take *pickup, const struct match *match)
{
    char times[4][TT_TIME_CHARS];
    const double room_s = 0.15; /* of the pause around a line, where it is cut */
    const double seconds[4] = {fmax(match->own_from_s - room_s, 0), match->own_to_s + room_s,
                               fmax(match->partner_from_s - room_s, 0), match->partner_to_s + room_s};
    for (int i = 0; i < 4; i++)
        tt_time_format((int64_t)(seconds[i] * 1000), times[i]);
    tt_take_warn(pickup, "pick-up?", match->own_from_s,
                 "says again what %.60s said earlier: a pick-up? To put it there, write into its row of order.csv: "
                 "from %s, to %s, instead_of %.60s, "
                 "instead_from %s, instead_to %s",
                 match->partner->file->name, times[0], times[1], match->partner->file->name, times[2], times[3]);
}

/* Takes of one day within reach of each other are the misreads' business first. */
static bool is_within_reach(const struct tt_run_state *run, size_t a, size_t b)
{
    double between_s = 0;
    if (tt_recorded_on_other_days(&run->takes[a], &run->takes[b]))
        return false;
    for (size_t i = a + 1; i < b; i++)
        if (takes_part(&run->takes[i]))
            between_s += (double)(tt_heard_end(&run->takes[i].heard) - run->takes[i].heard.from_sample) /
                         run->takes[i].heard.facts.rate_hz;
    return between_s < run->settings.misreads.look_back_s;
}

static double own_least_s(const struct tt_run_state *run, size_t partner, size_t pickup)
{
    return is_within_reach(run, partner, pickup) ? fmax(near_least_share * speech_s(&run->takes[pickup]), least_s)
                                                 : least_s;
}

bool tt_pickups_propose(struct tt_run_state *run, struct tt_error *err)
{
    int candidates = 0;
    if (run->settings.misreads.action == TT_POLICY_OFF)
        return true;
    for (size_t p = run->take_count; p-- > 0 && candidates < CANDIDATES_MOST;) {
        struct match best = {0};
        if (!is_candidate(run, p))
            continue;
        candidates++;
        for (size_t a = 0; a < p; a++) {
            struct tt_take *partner = &run->takes[a];
            if (takes_part(partner) && partner->recording != run->takes[p].recording &&
                speech_s(partner) <= partner_most_s &&
                !find_in(run, partner, &run->takes[p], own_least_s(run, a, p), &best, err))
                return false;
        }
        if (best.partner)
            tell(&run->takes[p], &best);
    }
    return true;
}
