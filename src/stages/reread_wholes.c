/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Readings of which the end alone seems surer than the whole: the whole is as sure, or, where only a person can tell
 * what the whole is, the end is no surer. */
#include "stages/reread_wholes.h"

#include <math.h>
#include <stdlib.h>

/* As likely as this by itself at least: what is said in front of both is hardly something else then. */
static const double least_confidence = 0.1;
/* What the whole has more than its end must take about as long in both readings, or another line was drawn in. */
static const double most_skew = 1.25;
enum { SLACK_ROWS = 14 };

static int by_ends(const void *a, const void *b)
{
    const struct tt_reread *x = *(const struct tt_reread *const *)a, *y = *(const struct tt_reread *const *)b;
    if (x->last != y->last)
        return x->last < y->last ? -1 : 1;
    if (x->again_last != y->again_last)
        return x->again_last < y->again_last ? -1 : 1;
    if (x->first != y->first)
        return x->first < y->first ? -1 : 1;
    return x->again < y->again ? -1 : x->again > y->again;
}

static bool is_end_of(const struct tt_phrases *phrases, const struct tt_reread *end, const struct tt_reread *whole)
{
    if (end->last != whole->last || end->again_last != whole->again_last || end->first <= whole->first ||
        end->again <= whole->again)
        return false;
    double x = (double)(phrases->all[end->first].row - phrases->all[whole->first].row),
           y = (double)(phrases->all[end->again].row - phrases->all[whole->again].row);
    return fmax(x, y) <= most_skew * fmin(x, y) + SLACK_ROWS;
}

/* Were the end cut, its line's first words, before a pause, would be taken for talk in front of the re-read. */
static bool leaves_first_words(const struct tt_phrases *phrases, const struct tt_reread *end)
{
    return !tt_phrases_flow(phrases, end->again - 1);
}

static void agree(const struct tt_phrases *phrases, struct tt_reread *whole, struct tt_reread *end)
{
    if (!whole->is_doubtful)
        whole->confidence = fmax(whole->confidence, end->confidence);
    else if (whole->confidence >= TT_DOUBTFUL_MOST && leaves_first_words(phrases, end))
        end->confidence = fmin(end->confidence, whole->confidence);
}

bool tt_reread_wholes_agree(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err)
{
    struct tt_reread **order = malloc((rereads->count ? rereads->count : 1) * sizeof *order);
    if (!order)
        return tt_fail_memory(err);
    for (size_t k = 0; k < rereads->count; k++)
        order[k] = &rereads->all[k];
    qsort(order, rereads->count, sizeof *order, by_ends);
    for (size_t k = rereads->count; k-- > 0;) {
        struct tt_reread *whole = order[k];
        if (whole->confidence < least_confidence)
            continue;
        for (size_t j = k + 1;
             j < rereads->count && order[j]->last == whole->last && order[j]->again_last == whole->again_last; j++)
            if (is_end_of(phrases, order[j], whole))
                agree(phrases, whole, order[j]);
    }
    free(order);
    return true;
}
