/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/rereads.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Asides lie 6 dB and more under the lines, lines within some 4 dB of each other (make-up of our own sessions; no source). */
static const float faint_db = 4.5f;
/* A phrase that sounds like one farther off than this, with lines between, is a refrain rather than a slip. */
static const double distant_lines_s = 4.0;
static const float coincidence_score = 25.0f, coincidence_rest_share = 0.3f;
static const float cover_score = 12.0f, cover_rest_share = 0.4f, cover_worst = 2.5f;
static const double rival_lines_s = 1.0;
static const double refrain_share = 0.5;
/* A path with 0.7 s in it that are hardly likelier than chance joins what does not belong together. */
static const float broken_path = 1.5f;
/* Such pairs are asked about at most. */
static const double doubtful_most = 0.9;
/* What is known before anything is heard: a session is short. */
static const double usual_coincidences = 1.0, usual_phrases = 20.0;

/* Logistic weights, fitted on labelled sessions of four voices (true and made re-readings, lines that begin alike among them) and then stretched
 * so that the rows which are chosen, the best of many pairs, are right as often as they say. */
static const double weight[TT_EVIDENCE] = {
    [TT_SEEN_ALWAYS] = -11.68, [TT_SEEN_SCORE] = 1.252, [TT_SEEN_LENGTH] = -1.215, [TT_SEEN_LIKENESS] = 0.262,
    [TT_SEEN_WORST] = 0.4097, [TT_SEEN_WORST_LONG] = -0.6716, [TT_SEEN_OPENING] = 0.5598, [TT_SEEN_REST] = -1.364,
    [TT_SEEN_REST_SHARE] = 5.643, [TT_SEEN_GOES_ON] = -1.767, [TT_SEEN_BOTH_END] = -4.257, [TT_SEEN_LINES] = -2.286,
    [TT_SEEN_PAUSE] = -0.8732, [TT_SEEN_SKEW] = 0.07142, [TT_SEEN_RIVALS] = 0.3505, [TT_SEEN_REPETITION] = 1.656,
    [TT_SEEN_WORST_HELD] = 0.2607, [TT_SEEN_SCORE_REPETITION] = -0.8658, [TT_SEEN_BOTH_WORST] = 1.393, [TT_SEEN_GOES_SCORE] = 0.567,
    [TT_SEEN_REST_SCORE] = -3.106,
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
        if (!covered[p] && !tt_reread_is_faint(phrases, reread, p)) seconds += phrases->all[p].end_s - phrases->all[p].start_s;
    return seconds;
}

static double certainty(const struct tt_reread *reread)
{
    double sum = 0.0;
    for (int k = 0; k < TT_EVIDENCE; k++) sum += weight[k] * (double)reread->seen[k];
    return 1.0 / (1.0 + exp(-sum));
}

/* Marks what is probably read again, going by the pairs alone: most of a phrase matches from its beginning on, and well. */
static void cover(const struct tt_rereads *rereads, bool *covered)
{
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (reread->score < cover_score || reread->seen[TT_SEEN_REST_SHARE] > cover_rest_share || reread->seen[TT_SEEN_WORST_LONG] < cover_worst) continue;
        for (size_t p = reread->first; p <= reread->last; p++) covered[p] = true;
    }
}

/* The two best scores with which a phrase resembles something that is not its neighbour, and the pairs they belong to. */
struct likest { float score[2]; size_t pair[2]; };

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
        if ((double)reread->seen[TT_SEEN_LINES] < log(1.0 + rival_lines_s)) continue;
        note_likest(&likest[reread->first], reread->score, k);
        note_likest(&likest[reread->again], reread->score, k);
    }
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        float best = 0.0f;
        const struct likest *sides[2] = {&likest[reread->first], &likest[reread->again]};
        for (int side = 0; side < 2; side++) {
            float score = sides[side]->score[sides[side]->score[0] > 0.0f && sides[side]->pair[0] == k ? 1 : 0];
            if (score > best) best = score;
        }
        reread->seen[TT_SEEN_RIVALS] = (float)log(1.0 + (double)best);
    }
}

/* Likeness that means nothing: with lines in between, or lines that begin alike and then part. */
static bool is_coincidence(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *covered)
{
    if (reread->score < coincidence_score) return false;
    return reread->seen[TT_SEEN_REST_SHARE] > coincidence_rest_share || tt_reread_lines_between_s(phrases, reread, covered) >= distant_lines_s;
}

/* How often that happens, a phrase; each re-read counts once. */
static double share_of_coincidences(const struct tt_phrases *phrases, const struct tt_rereads *rereads, const bool *covered)
{
    size_t count = 0, before = (size_t)-1;
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (reread->again == before || !is_coincidence(phrases, reread, covered)) continue;
        before = reread->again;
        count++;
    }
    return ((double)count + usual_coincidences) / ((double)phrases->count + usual_phrases);
}

static void see_together(float *seen)
{
    const float worst = seen[TT_SEEN_WORST], score = seen[TT_SEEN_SCORE];
    seen[TT_SEEN_WORST_HELD] = worst < 3.0f ? worst : 3.0f;
    seen[TT_SEEN_SCORE_REPETITION] = score * seen[TT_SEEN_REPETITION];
    seen[TT_SEEN_BOTH_WORST] = seen[TT_SEEN_BOTH_END] * (worst < 4.0f ? worst : 4.0f);
    seen[TT_SEEN_GOES_SCORE] = seen[TT_SEEN_GOES_ON] * score;
    seen[TT_SEEN_REST_SCORE] = seen[TT_SEEN_REST_SHARE] * score;
}

/* A line with others in between that a third one resembles as well: a refrain, or a list. Only a person can tell. */
static bool is_refrain(const struct tt_reread *reread)
{
    return (double)reread->seen[TT_SEEN_LINES] > log(1.0 + rival_lines_s) && (double)reread->seen[TT_SEEN_RIVALS] > log(1.0 + refrain_share * (double)reread->score);
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
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        reread->seen[TT_SEEN_REPETITION] = (float)log(repetition);
        reread->seen[TT_SEEN_LINES] = (float)log(1.0 + tt_reread_lines_between_s(phrases, reread, covered));
    }
    see_rivals(rereads, likest);
    for (size_t k = 0; k < rereads->count; k++) see_together(rereads->all[k].seen);
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        reread->confidence = certainty(reread);
        bool is_doubtful = is_refrain(reread) || reread->seen[TT_SEEN_WORST_LONG] < broken_path;
        if (is_doubtful && reread->confidence > doubtful_most) reread->confidence = doubtful_most;
    }
    free(covered);
    free(likest);
    return true;
}
