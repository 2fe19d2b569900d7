/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/reread_refrains.h"

#include <math.h>
#include <stdlib.h>

#include "stages/reread_doubts.h"

/* Of two readings with other lines in between, of which a third one is at least so much as like: nobody begins anew
 * from so far back time and again. */
static const double third_share = 0.5;
/* A passage that comes again is as like as this, from end to end, and takes about as long. */
static const float passage_score = 40.0f, passage_worst = 3.0f, passage_rest_share = 0.2f, passage_skew = 0.2f;
/* Within a passage a word or two come again: 'hum in the sun, hum in the wind'. */
static const double word_s = 0.6;
/* What is so much liker to a refrain is a line of it, and like its neighbours as lines of lists are. */
static const float refrain_gain = 1.3f;

static bool comes_from_afar(const struct tt_reread *reread) { return reread->seen[TT_SEEN_LINES_1] > 0.0f; }

bool tt_reread_is_refrain(const struct tt_reread *reread)
{
    return comes_from_afar(reread) &&
           (double)reread->seen[TT_SEEN_RIVALS] > log(1.0 + third_share * (double)reread->score);
}

static bool is_passage(const struct tt_reread *reread)
{
    const float *seen = reread->seen;
    return comes_from_afar(reread) && reread->score >= passage_score && seen[TT_SEEN_WORST_LONG] >= passage_worst &&
           seen[TT_SEEN_REST_SHARE] <= passage_rest_share && seen[TT_SEEN_SKEW] <= passage_skew;
}

static void note_passage(size_t *reaches, size_t first, size_t last)
{
    if (reaches[first] < last)
        reaches[first] = last;
}

/* reaches[p]: the last phrase of any passage that comes again and begins with phrase p or before it. */
static void find_passages(const struct tt_phrases *phrases, const struct tt_rereads *rereads, size_t *reaches)
{
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (is_passage(reread)) {
            note_passage(reaches, reread->first, reread->last);
            note_passage(reaches, reread->again, reread->again_last);
        }
    }
    for (size_t p = 1; p < phrases->count; p++)
        note_passage(reaches, p, reaches[p - 1]);
}

static bool is_word_of_passage(const struct tt_reread *reread, const size_t *reaches)
{
    return reaches[reread->first] >= reread->again && (double)reread->seen[TT_SEEN_LENGTH] < log(word_s) &&
           reread->seen[TT_SEEN_BOTH_END] <= 0.0f;
}

/* likest[p]: how strongly any passage with phrase p in it comes again as a refrain. */
static void find_refrains(const struct tt_rereads *rereads, float *likest)
{
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (!tt_reread_is_refrain(reread))
            continue;
        for (size_t p = reread->first; p <= reread->last; p++)
            likest[p] = fmaxf(likest[p], reread->score);
        for (size_t p = reread->again; p <= reread->again_last; p++)
            likest[p] = fmaxf(likest[p], reread->score);
    }
}

static bool is_line_of_refrain(const struct tt_reread *reread, const float *likest)
{
    return likest[reread->first] > refrain_gain * reread->score && !tt_reread_was_broken_off(reread);
}

bool tt_reread_refrains_drop_words(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err)
{
    const size_t count = phrases->count ? phrases->count : 1;
    size_t *reaches = calloc(count, sizeof *reaches);
    float *likest = calloc(count, sizeof *likest);
    if (!reaches || !likest) {
        free(reaches);
        free(likest);
        return tt_fail_memory(err);
    }
    find_passages(phrases, rereads, reaches);
    find_refrains(rereads, likest);
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *reread = &rereads->all[k];
        if (is_word_of_passage(reread, reaches))
            reread->confidence = fmin(reread->confidence, TT_REFRAIN_MOST);
        else if (is_line_of_refrain(reread, likest))
            reread->confidence = fmin(reread->confidence, TT_DOUBTFUL_MOST);
    }
    free(likest);
    free(reaches);
    return true;
}
