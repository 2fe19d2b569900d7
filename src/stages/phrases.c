/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/phrases.h"

#include "base/grow.h"

#include <stdlib.h>
#include <string.h>

#include "stages/phrase_ring.h"

/* Within a sentence pauses are mostly shorter than this, between a reading and what is said about it they are longer.
 */
static const double flow_s = 0.25;

void tt_phrases_close(struct tt_phrases *phrases)
{
    free(phrases->all);
    free(phrases->window);
    *phrases = (struct tt_phrases){0};
}

size_t tt_phrases_at(const struct tt_phrases *phrases, size_t row)
{
    size_t low = 0, high = phrases->count;
    while (high - low > 1) {
        size_t middle = low + (high - low) / 2;
        if (phrases->all[middle].row <= row)
            low = middle;
        else
            high = middle;
    }
    return low;
}

static bool follows_within(const struct tt_phrases *phrases, size_t phrase, double seconds)
{
    const struct tt_phrase *here = &phrases->all[phrase], *next = here + 1;
    return phrase + 1 < phrases->count && next->take == here->take && next->start_s - here->end_s < seconds;
}

bool tt_phrases_flow(const struct tt_phrases *phrases, size_t phrase)
{
    return follows_within(phrases, phrase, flow_s);
}

bool tt_phrases_join(const struct tt_phrases *phrases, size_t phrase)
{
    return follows_within(phrases, phrase, 1e-3 * TT_PHRASE_PAUSE_MS);
}

bool tt_phrases_split(struct tt_phrases *phrases, size_t index, size_t rows, struct tt_error *err)
{
    struct tt_phrase *bigger = tt_grow_by_one(phrases->all, phrases->count, sizeof *bigger, err);
    if (!bigger)
        return false;
    phrases->all = bigger;
    struct tt_phrase *phrase = &phrases->all[index];
    const struct tt_take_view *take = &phrases->view->takes[phrase->take];
    memmove(phrase + 2, phrase + 1, (phrases->count - index - 1) * sizeof *phrase);
    phrases->count++;
    phrase[1] = phrase[0];
    phrase[1].row += rows;
    phrase[1].row_count -= rows;
    phrase[1].take_row += (int64_t)rows;
    phrase[1].start_sample =
        phrase[1].take_row * take->heard->facts.feature_hop_samples - take->heard->facts.feature_hop_samples / 2;
    phrase[1].start_s = take->clock_s + (double)phrase[1].start_sample / take->heard->facts.rate_hz;
    phrase[0].row_count = rows;
    phrase[0].end_sample = phrase[1].start_sample;
    phrase[0].end_s = phrase[1].start_s;
    phrase[0].loud_end_sample = phrase[1].loud_start_sample = phrase[1].start_sample;
    tt_phrase_leave_out_ring(take->heard, phrase);
    phrase[0].row_count -= (size_t)(phrase[0].ring_s * phrases->rows_per_s);
    return true;
}
