/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/sayings.h"

#include <stdlib.h>

#include "stages/reread_doubts.h"

static const double saying_most_s = 1.6;
/* Two phrases are the same saying when so much of both is alike, and so strongly. */
static const float same_score = 15.0f;
static const double same_share = 0.6;
/* Two readings that are so much alike have a saying between them, in so many phrases. */
static const float around_score = 25.0f, around_worst = 2.5f;
enum { AROUND_MOST = 2, LEAST_TIMES = 3, LEAST_BROKEN_OFF = 2 };

struct place {
    bool is_between, is_broken_off;    /* of the reading before it */
    size_t times, between, broken_off; /* of the phrases that say the same, itself among them */
};

static bool is_short(const struct tt_phrase *phrase) { return phrase->end_s - phrase->start_s <= saying_most_s; }

static bool says_the_same(const struct tt_phrases *phrases, const struct tt_reread *reread)
{
    const struct tt_phrase *x = &phrases->all[reread->first], *y = &phrases->all[reread->again];
    return reread->first == reread->last && is_short(x) && is_short(y) && reread->score >= same_score &&
           (double)reread->x_rows >= same_share * (double)x->row_count &&
           (double)reread->y_rows >= same_share * (double)y->row_count;
}

/* Whether phrase `again` begins as phrase `first` does: pairs are in this order. */
static bool begin_alike(const struct tt_rereads *rereads, size_t first, size_t again)
{
    size_t from = 0, to = rereads->count;
    while (from < to) {
        const size_t middle = from + (to - from) / 2;
        const struct tt_reread *reread = &rereads->all[middle];
        if (reread->again < again || (reread->again == again && reread->first < first))
            from = middle + 1;
        else
            to = middle;
    }
    return from < rereads->count && rereads->all[from].again == again && rereads->all[from].first == first;
}

/* Another try at the same line is no saying. */
static bool is_apart(const struct tt_rereads *rereads, const struct tt_reread *around, size_t phrase)
{
    return !begin_alike(rereads, around->first, phrase) && !begin_alike(rereads, phrase, around->again);
}

static void note_what_is_between(const struct tt_phrases *phrases, const struct tt_rereads *rereads,
                                 const struct tt_reread *reread, struct place *places)
{
    const size_t count = reread->again - reread->last - 1;
    if (count == 0 || count > AROUND_MOST || reread->score < around_score ||
        reread->seen[TT_SEEN_WORST_LONG] < around_worst)
        return;
    for (size_t p = reread->last + 1; p < reread->again; p++) {
        if (!is_short(&phrases->all[p]) || !is_apart(rereads, reread, p))
            continue;
        places[p].is_between = true;
        places[p].is_broken_off |= tt_reread_was_broken_off(reread);
    }
}

static void count_with(struct place *place, const struct place *other)
{
    place->times++;
    place->between += other->is_between;
    place->broken_off += other->is_broken_off;
}

bool tt_sayings_mark(struct tt_phrases *phrases, const struct tt_rereads *rereads, bool *has_sayings,
                     struct tt_error *err)
{
    struct place *places = calloc(phrases->count ? phrases->count : 1, sizeof *places);
    if (!places)
        return tt_fail_memory(err);
    for (size_t k = 0; k < rereads->count; k++)
        note_what_is_between(phrases, rereads, &rereads->all[k], places);
    for (size_t p = 0; p < phrases->count; p++)
        count_with(&places[p], &places[p]);
    for (size_t k = 0; k < rereads->count; k++) {
        const struct tt_reread *reread = &rereads->all[k];
        if (!says_the_same(phrases, reread))
            continue;
        count_with(&places[reread->first], &places[reread->again]);
        count_with(&places[reread->again], &places[reread->first]);
    }
    *has_sayings = false;
    for (size_t p = 0; p < phrases->count; p++) {
        const struct place *place = &places[p];
        phrases->all[p].is_saying = place->is_between && place->times >= LEAST_TIMES &&
                                    2 * place->between > place->times && place->broken_off >= LEAST_BROKEN_OFF;
        *has_sayings = *has_sayings || phrases->all[p].is_saying;
    }
    free(places);
    return true;
}

bool tt_sayings_find(struct tt_phrases *phrases, double look_back_s, struct tt_rereads *rereads, struct tt_error *err)
{
    bool has_sayings = false, has_split = false;
    if (!tt_rereads_find(phrases, look_back_s, false, rereads, err))
        return false;
    bool is_done = tt_sayings_mark(phrases, rereads, &has_sayings, err) &&
                   (!has_sayings || tt_rereads_split_sayings(phrases, &has_split, err));
    if (is_done && has_split) {
        tt_rereads_free(rereads);
        is_done = tt_rereads_find(phrases, look_back_s, false, rereads, err) &&
                  tt_sayings_mark(phrases, rereads, &has_sayings, err);
    }
    if (!is_done)
        tt_rereads_free(rereads);
    return is_done;
}
