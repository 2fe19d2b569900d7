/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rated frames become the hearts of words, and the gaps between them. */
#include <math.h>

#include "dsp/listener_parts.h"

static const double gap_most_s = 2.6,
                    gap_part_s = 1.4; /* a longer gap is sorted in parts, so that all settles in time */
static const int word_frames_least = 4, word_holes_most = 3;
/* A loud breath may sound voiced for some 30 ms; so short and so weak is no vowel. */
static const int weak_word_frames_least = 8;
static const float weak_word_db = -16.0f;

static bool sort_gap(struct tt_listener *l, int64_t end, bool word_after, struct tt_error *err)
{
    struct tt_gap gap = {.start = l->gap_start, .end = end, .word_before = l->gap_after_word, .word_after = word_after};
    l->gap_start = l->sorted = end;
    l->gap_after_word = word_after;
    return gap.start >= end || tt_listener_sort_gap(l, gap, err);
}

/* The quietest frame of the later half of a part. */
static int64_t quietest(const struct tt_listener *l, int64_t start, int64_t end)
{
    int64_t best = end;
    float lowest = 1e9f;
    for (int64_t i = start; i + 4 < end; i++) {
        float sum = 0.0f;
        for (int64_t k = i; k < i + 5; k++)
            sum += tt_heard_at(l, k)->over_db;
        if (sum < lowest) {
            lowest = sum;
            best = i + 2;
        }
    }
    return best;
}

static bool is_heart(const struct tt_listener *l, int64_t frame)
{
    float highest_db = -200.0f;
    for (int64_t i = l->word_start; i <= frame; i++)
        highest_db = fmaxf(highest_db, tt_heard_at(l, i)->all_db - tt_room_at(l, i)->speech_db);
    return l->word_frames >= (highest_db < weak_word_db ? weak_word_frames_least : word_frames_least);
}

static bool step_in_gap(struct tt_listener *l, int64_t frame, struct tt_error *err)
{
    if (tt_heard_at(l, frame)->is_sure) {
        if (l->word_frames == 0)
            l->word_start = frame;
        l->word_last = frame;
        l->word_frames++;
        if (!is_heart(l, frame))
            return true;
        l->in_word = true;
        if (!sort_gap(l, l->word_start, true, err))
            return false;
        for (int64_t i = l->word_start; i <= frame; i++)
            tt_heard_at(l, i)->heard_as = TT_HEARD_SPEECH;
        l->sorted = frame + 1;
        return true;
    }
    l->word_frames = 0;
    if (frame - l->gap_start < tt_listener_frames(l, 1000.0 * gap_most_s))
        return true;
    int64_t part = tt_listener_frames(l, 1000.0 * gap_part_s),
            end = quietest(l, l->gap_start + part / 2, l->gap_start + part);
    return sort_gap(l, end, false, err);
}

static void leave_word(struct tt_listener *l)
{
    l->in_word = false;
    l->gap_after_word = true;
    l->gap_start = l->word_last + 1;
}

static void step_in_word(struct tt_listener *l, int64_t frame)
{
    if (tt_heard_at(l, frame)->is_sure) {
        for (int64_t i = l->word_last + 1; i <= frame; i++)
            tt_heard_at(l, i)->heard_as = TT_HEARD_SPEECH;
        l->word_last = frame;
        l->sorted = frame + 1;
        return;
    }
    if (frame - l->word_last < word_holes_most)
        return;
    leave_word(l);
    l->word_frames = 0;
}

bool tt_listener_step(struct tt_listener *l, int64_t frame, struct tt_error *err)
{
    if (!l->in_word)
        return step_in_gap(l, frame, err);
    step_in_word(l, frame);
    return true;
}

bool tt_listener_end_words(struct tt_listener *l, struct tt_error *err)
{
    if (l->in_word)
        leave_word(l);
    return sort_gap(l, l->heard, false, err);
}
