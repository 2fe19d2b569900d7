/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/rereads.h"

#include <math.h>
#include <stdlib.h>

#include "stages/reread_carried.h"
#include "stages/reread_doubts.h"
#include "stages/reread_refrains.h"
#include "stages/reread_wholes.h"

/* Asides lie 6 dB and more under the lines, lines within some 4 dB of each other (make-up of our own sessions; no
 * source). */
static const float faint_db = 4.5f;
/* A phrase that sounds like one farther off than this, with lines between, is a refrain rather than a slip. */
static const double distant_lines_s = 4.0;
static const float coincidence_score = 25.0f, coincidence_rest_share = 0.3f;
static const float cover_score = 12.0f, cover_rest_share = 0.4f, cover_worst = 2.5f;
static const double rival_lines_s = 1.0;
static const float rest_from_s = 0.15f;
/* Nobody goes back beyond so much that stays. */
static const double most_lines_s = 20.0;
/* ln of 0.1 s, with some room. */
static const float no_pause_most = -2.25f;
/* Such pairs are asked about at least. */
static const double striking_least = 0.5;
/* And such are sure, where they would be asked about. */
static const double same_least = 0.98;
/* What is known before anything is heard: a session is short. */
static const double usual_coincidences = 1.0, usual_phrases = 20.0;

/* Logistic weights, fitted on 11 hours of labelled sessions of four voices at 20 to 40 dB over their rooms (true and
 * made re-readings, without a pause, too), and on each pair of their lines as if they were neighbours; then stretched
 * so that the rows which are chosen, the best of many pairs, are right as often as they say, on 4 hours of sessions
 * that had no part in the fit. */
static const double weight[TT_EVIDENCE] = {
    [TT_SEEN_ALWAYS] = -19.2,
    [TT_SEEN_SCORE] = 3.834,
    [TT_SEEN_LENGTH] = -5.366,
    [TT_SEEN_LIKENESS] = -0.09778,
    [TT_SEEN_WORST] = 1.184,
    [TT_SEEN_WORST_LONG] = 1.76,
    [TT_SEEN_OPENING] = 0.6484,
    [TT_SEEN_REST] = 0.5518,
    [TT_SEEN_REST_SHARE] = -1.369,
    [TT_SEEN_GOES_ON] = -7.79,
    [TT_SEEN_BOTH_END] = -10.17,
    [TT_SEEN_LINES] = -9.282,
    [TT_SEEN_PAUSE] = -2.184,
    [TT_SEEN_SKEW] = -0.166,
    [TT_SEEN_RIVALS] = 5.316,
    [TT_SEEN_REPETITION] = 1.451,
    [TT_SEEN_END_LIKENESS] = -1.157,
    [TT_SEEN_END_STRETCH] = 8.48,
    [TT_SEEN_END_FALL] = -1.654,
    [TT_SEEN_LAST_SYLLABLE] = -2.858,
    [TT_SEEN_WORST_HELD] = -1.548,
    [TT_SEEN_SCORE_REPETITION] = -1.395,
    [TT_SEEN_BOTH_WORST] = -0.6778,
    [TT_SEEN_GOES_SCORE] = 2.548,
    [TT_SEEN_REST_SCORE] = -5.81,
    [TT_SEEN_GOES_FALL] = 2.81,
    [TT_SEEN_GOES_SYLLABLE] = -22.44,
    [TT_SEEN_GOES_PAUSE] = 2.108,
    [TT_SEEN_GOES_REPETITION] = -2.462,
    [TT_SEEN_BOTH_REPETITION] = -3.832,
    [TT_SEEN_WORST_LONG_HELD] = -2.946,
    [TT_SEEN_END_LIKENESS_HELD] = -1.192,
    [TT_SEEN_NO_PAUSE] = -4.648,
    [TT_SEEN_NO_PAUSE_SCORE] = -0.7514,
    [TT_SEEN_REST_PAUSE] = -1.102,
    [TT_SEEN_BOTH_WORST_LONG] = 1.328,
    [TT_SEEN_SCORE_RIVALS] = -1.004,
    [TT_SEEN_BOTH_SCORE] = 0.1342,
    [TT_SEEN_SCORE_HIGH] = 7.846,
    [TT_SEEN_LENGTH_SQUARED] = -3.56,
    [TT_SEEN_REST_FALL] = -1.689,
    [TT_SEEN_LINES_1] = 2.848,
};

bool tt_reread_is_faint(const struct tt_phrases *phrases, const struct tt_reread *reread, size_t phrase)
{
    float around = 0.5f * (phrases->all[reread->first].level_db + phrases->all[reread->again].level_db);
    return phrases->all[phrase].level_db < around - faint_db;
}

double tt_reread_lines_between_s(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *covered)
{
    double seconds = 0.0;
    for (size_t p = reread->last + 1; p < reread->again; p++)
        if (!covered[p] && !phrases->all[p].is_saying && !tt_reread_is_faint(phrases, reread, p))
            seconds += phrases->all[p].end_s - phrases->all[p].start_s;
    return seconds;
}

static double certainty(const struct tt_reread *reread)
{
    double sum = 0.0;
    for (int k = 0; k < TT_EVIDENCE; k++)
        sum += weight[k] * (double)reread->seen[k];
    return (double)reread->seen[TT_SEEN_LINES] > log(1.0 + most_lines_s) ? 0.0 : 1.0 / (1.0 + exp(-sum));
}

/* Marks what is probably read again, going by the pairs alone: most of a phrase matches from its beginning on, and
 * well. */
static void cover(const struct tt_rereads *rereads, bool *covered)
{
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (reread->score < cover_score || reread->seen[TT_SEEN_REST_SHARE] > cover_rest_share ||
            reread->seen[TT_SEEN_WORST_LONG] < cover_worst)
            continue;
        for (size_t p = reread->first; p <= reread->last; p++)
            covered[p] = true;
    }
}

/* The two best scores with which a phrase resembles something that is not its neighbour, and the pairs they belong to.
 */
struct likest {
    float score[2];
    size_t pair[2];
};

static void note_likest(struct likest *likest, float score, size_t pair)
{
    if (score > likest->score[0]) {
        likest->score[1] = likest->score[0];
        likest->pair[1] = likest->pair[0];
        likest->score[0] = score;
        likest->pair[0] = pair;
    } else if (score > likest->score[1]) {
        likest->score[1] = score;
        likest->pair[1] = pair;
    }
}

/* A reading that resembles other lines as well may resemble this one for the same reason. */
static void see_rivals(struct tt_rereads *rereads, struct likest *likest)
{
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if ((double)reread->seen[TT_SEEN_LINES] < log(1.0 + rival_lines_s))
            continue;
        note_likest(&likest[reread->first], reread->score, k);
        note_likest(&likest[reread->again], reread->score, k);
    }
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        float best = 0.0f;
        const struct likest *sides[2] = {&likest[reread->first], &likest[reread->again]};
        for (int side = 0; side < 2; side++) {
            float score = sides[side]->score[sides[side]->score[0] > 0.0f && sides[side]->pair[0] == k ? 1 : 0];
            if (score > best)
                best = score;
        }
        reread->seen[TT_SEEN_RIVALS] = (float)log(1.0 + (double)best);
    }
}

/* Likeness that means nothing: with lines in between, or lines that begin alike and then part. */
static bool is_coincidence(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *covered)
{
    if (reread->score < coincidence_score)
        return false;
    return reread->seen[TT_SEEN_REST_SHARE] > coincidence_rest_share ||
           tt_reread_lines_between_s(phrases, reread, covered) >= distant_lines_s;
}

/* How often that happens, a phrase; each re-read counts once. */
static double share_of_coincidences(const struct tt_phrases *phrases, const struct tt_rereads *rereads,
                                    const bool *covered)
{
    size_t count = 0, before = (size_t)-1;
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (reread->again == before || phrases->all[reread->first].is_saying ||
            !is_coincidence(phrases, reread, covered))
            continue;
        before = reread->again;
        count++;
    }
    return ((double)count + usual_coincidences) / ((double)phrases->count + usual_phrases);
}

static float at_most(float value, float most) { return value < most ? value : most; }

static void see_together(float *seen)
{
    const float score = seen[TT_SEEN_SCORE], both = seen[TT_SEEN_BOTH_END], goes = seen[TT_SEEN_GOES_ON],
                repetition = seen[TT_SEEN_REPETITION];
    const float no_pause = seen[TT_SEEN_PAUSE] < no_pause_most ? 1.0f : 0.0f;
    seen[TT_SEEN_WORST_HELD] = at_most(seen[TT_SEEN_WORST], 3.0f);
    seen[TT_SEEN_WORST_LONG_HELD] = at_most(seen[TT_SEEN_WORST_LONG], 4.0f);
    seen[TT_SEEN_END_LIKENESS_HELD] = at_most(seen[TT_SEEN_END_LIKENESS], 4.0f);
    seen[TT_SEEN_SCORE_HIGH] = score > 4.0f ? score - 4.0f : 0.0f;
    seen[TT_SEEN_LENGTH_SQUARED] = seen[TT_SEEN_LENGTH] * seen[TT_SEEN_LENGTH];
    seen[TT_SEEN_SCORE_REPETITION] = score * repetition;
    seen[TT_SEEN_SCORE_RIVALS] = score * seen[TT_SEEN_RIVALS];
    seen[TT_SEEN_BOTH_WORST] = both * at_most(seen[TT_SEEN_WORST], 4.0f);
    seen[TT_SEEN_BOTH_WORST_LONG] = both * at_most(seen[TT_SEEN_WORST_LONG], 6.0f);
    seen[TT_SEEN_BOTH_SCORE] = both * score;
    seen[TT_SEEN_BOTH_REPETITION] = both * repetition;
    seen[TT_SEEN_GOES_SCORE] = goes * score;
    seen[TT_SEEN_GOES_FALL] = goes * seen[TT_SEEN_END_FALL];
    seen[TT_SEEN_GOES_SYLLABLE] = goes * seen[TT_SEEN_LAST_SYLLABLE];
    seen[TT_SEEN_GOES_PAUSE] = goes * seen[TT_SEEN_PAUSE];
    seen[TT_SEEN_GOES_REPETITION] = goes * repetition;
    seen[TT_SEEN_REST_SCORE] = seen[TT_SEEN_REST_SHARE] * score;
    seen[TT_SEEN_REST_PAUSE] = seen[TT_SEEN_REST] * seen[TT_SEEN_PAUSE];
    seen[TT_SEEN_REST_FALL] = seen[TT_SEEN_REST] > rest_from_s ? seen[TT_SEEN_END_FALL] : 0.0f;
    seen[TT_SEEN_NO_PAUSE] = no_pause;
    seen[TT_SEEN_NO_PAUSE_SCORE] = no_pause * score;
    seen[TT_SEEN_LINES_1] = (double)seen[TT_SEEN_LINES] > log(1.0 + rival_lines_s) ? 1.0f : 0.0f;
}

/* Its certainty by what was seen of it. */
static void judge(const struct tt_phrases *phrases, struct tt_reread *reread, const bool *covered)
{
    see_together(reread->seen);
    reread->confidence = phrases->all[reread->first].is_saying ? 0.0 : certainty(reread);
    reread->is_doubtful = tt_reread_is_doubtful(phrases, reread, covered);
    if (reread->is_doubtful)
        reread->confidence = fmin(reread->confidence, TT_DOUBTFUL_MOST);
    else if (reread->confidence >= striking_least && tt_reread_is_the_same(reread))
        reread->confidence = fmax(reread->confidence, same_least);
    if (tt_reread_is_refrain(reread))
        reread->confidence = fmin(reread->confidence, TT_REFRAIN_MOST);
    else if (tt_reread_is_striking(reread))
        reread->confidence = fmax(reread->confidence, striking_least);
}

static void judge_all(const struct tt_phrases *phrases, struct tt_rereads *rereads, const bool *covered,
                      struct likest *likest)
{
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        reread->seen[TT_SEEN_LINES] = (float)log(1.0 + tt_reread_lines_between_s(phrases, reread, covered));
    }
    see_rivals(rereads, likest);
    for (size_t k = 0; k < rereads->count; k++)
        judge(phrases, &rereads->all[k], covered);
}

bool tt_rereads_judge(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err)
{
    size_t count = phrases->count ? phrases->count : 1;
    bool *covered = calloc(count, sizeof *covered);
    struct likest *likest = calloc(count, sizeof *likest);
    if (!covered || !likest) {
        free(covered);
        free(likest);
        return tt_fail_memory(err);
    }
    cover(rereads, covered);
    double repetition = share_of_coincidences(phrases, rereads, covered);
    for (size_t k = 0; k < rereads->count; k++)
        rereads->all[k].seen[TT_SEEN_REPETITION] = (float)log(repetition);
    judge_all(phrases, rereads, covered, likest);
    free(covered);
    free(likest);
    return tt_reread_wholes_agree(phrases, rereads, err) && tt_reread_carried_drop(phrases, rereads, err) &&
           tt_reread_refrains_drop_words(phrases, rereads, err);
}

bool tt_rereads_judge_again(const struct tt_phrases *phrases, struct tt_rereads *rereads, const bool *given_up)
{
    bool has_lowered = false;
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        float lines = (float)log(1.0 + tt_reread_lines_between_s(phrases, reread, given_up));
        if (lines <= reread->seen[TT_SEEN_LINES])
            continue;
        const double before = reread->confidence;
        reread->seen[TT_SEEN_LINES] = lines;
        judge(phrases, reread, given_up);
        if (reread->confidence > before)
            reread->confidence = before;
        has_lowered = has_lowered || reread->confidence < before;
    }
    return has_lowered;
}
