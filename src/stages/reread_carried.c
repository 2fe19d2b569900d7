/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Readings that seem to begin with the end of the line before, because what follows carries the match. */
#include "stages/reread_carried.h"

#include <stdlib.h>

/* A beginning that adds less than this share of what the rest of the words score in the same time is carried: 0.2 where
 * it was another line's end; of 60 where tries repeat each other, in made sessions of six synthetic voices, seven were
 * under it, and other pairs had the same words. */
static const float least_share = 0.5f;

/* Pairs that begin later than another one in both of its readings. */
struct inner {
    const struct tt_reread *all;
    size_t count;
};

/* Whether what `pair` takes for the second try's beginning is the end of a try that began sooner. */
static bool is_out_of_step(const struct tt_reread *pair, const struct inner *inner)
{
    for (size_t k = 0; k < inner->count; k++) {
        const struct tt_reread *other = &inner->all[k];
        if (other->first > pair->first && other->first < pair->again && other->last >= pair->again)
            return true;
    }
    return false;
}

static bool is_carried_by(const struct tt_phrases *phrases, const struct tt_reread *pair, const struct tt_reread *rest)
{
    if (rest->first <= pair->first || rest->first > pair->last || tt_phrases_flow(phrases, rest->first - 1))
        return false;
    const size_t lead = phrases->all[rest->first].row - phrases->all[pair->first].row;
    if (lead >= pair->x_rows)
        return false;
    const float a_row = rest->score / (float)rest->x_rows;
    return pair->score < a_row * ((float)(pair->x_rows - lead) + least_share * (float)lead);
}

static bool is_carried(const struct tt_phrases *phrases, const struct tt_reread *pair, const struct inner *inner)
{
    if (!is_out_of_step(pair, inner))
        return false;
    for (size_t k = 0; k < inner->count; k++)
        if (is_carried_by(phrases, pair, &inner->all[k]))
            return true;
    return false;
}

/* Where the pairs of each re-read begin, and, one behind the last, where they end. */
static size_t *begin_by_again(const struct tt_phrases *phrases, const struct tt_rereads *rereads, struct tt_error *err)
{
    size_t *begin = malloc((phrases->count + 1) * sizeof *begin);
    if (!begin) {
        tt_fail_memory(err);
        return NULL;
    }
    for (size_t p = 0, k = 0; p <= phrases->count; p++) {
        while (k < rereads->count && rereads->all[k].again < p)
            k++;
        begin[p] = k;
    }
    return begin;
}

bool tt_reread_carried_drop(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err)
{
    size_t *begin = begin_by_again(phrases, rereads, err);
    if (!begin)
        return false;
    for (size_t k = 0; k < rereads->count; k++) {
        struct tt_reread *pair = &rereads->all[k];
        const size_t from = begin[pair->again + 1], to = begin[pair->again_last + 1];
        if (is_carried(phrases, pair, &(struct inner){rereads->all + from, to - from}))
            pair->confidence = 0.0;
    }
    free(begin);
    return true;
}
