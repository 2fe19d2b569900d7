/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/rereads.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Asides lie 6 dB and more under the lines, lines within some 4 dB of each other (make-up of our own sessions; no source). */
static const float faint_db = 4.5f;
/* A phrase that sounds like one farther off than this, with lines between, is a refrain rather than a slip. */
static const double distant_lines_s = 4.0;
static const float distant_score = 16.0f;
static const double rival_lines_s = 1.0;

/* Logistic weights, fitted offline. */
static const double weight[TT_EVIDENCE] = {
    [TT_SEEN_ALWAYS] = -6.0, [TT_SEEN_SCORE] = 2.0, [TT_SEEN_LENGTH] = 0.0, [TT_SEEN_LIKENESS] = 0.5, [TT_SEEN_WORST] = 0.5,
    [TT_SEEN_REST] = -3.0, [TT_SEEN_REST_SHARE] = -3.0, [TT_SEEN_GOES_ON] = 0.5, [TT_SEEN_BOTH_END] = 0.0, [TT_SEEN_LINES] = -2.0,
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

/* Marks what is probably read again, going by the pairs alone. */
static void cover(const struct tt_rereads *rereads, bool *covered)
{
    for (size_t k = 0; k < rereads->count; k++)
        if (rereads->all[k].confidence >= 0.5)
            for (size_t p = rereads->all[k].first; p <= rereads->all[k].last; p++) covered[p] = true;
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
        reread->seen[TT_SEEN_RIVALS] = (float)log(1.0 + (double)(best / reread->score));
    }
}

static double share_of_distant(const struct tt_phrases *phrases, const struct tt_rereads *rereads, const bool *covered)
{
    size_t distant = 0, before = (size_t)-1;
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (reread->again == before || reread->score < distant_score) continue;
        if (tt_reread_lines_between_s(phrases, reread, covered) < distant_lines_s) continue;
        before = reread->again;
        distant++;
    }
    return phrases->count ? (double)distant / (double)phrases->count : 0.0;
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
    for (size_t k = 0; k < rereads->count; k++) rereads->all[k].confidence = certainty(&rereads->all[k]);
    cover(rereads, covered);
    double repetition = share_of_distant(phrases, rereads, covered);
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        reread->seen[TT_SEEN_REPETITION] = (float)repetition;
        reread->seen[TT_SEEN_LINES] = (float)log(1.0 + tt_reread_lines_between_s(phrases, reread, covered));
    }
    see_rivals(rereads, likest);
    for (size_t k = 0; k < rereads->count; k++) rereads->all[k].confidence = certainty(&rereads->all[k]);
    free(covered);
    free(likest);
    return true;
}
