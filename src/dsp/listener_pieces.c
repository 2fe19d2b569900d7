/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What stands visibly over the room in a gap, cut into pieces at its valleys. */
#include "dsp/listener_parts.h"

static const float visible_db = 3.0f; /* over the room: where an edge is followed to (methods: > 3 dB) */
static const float valley_db = 5.0f;  /* a dip this deep parts two sounds (methods) */
static const double word_edge_ms = 60.0;
static const double piece_least_ms = 20.0;

/* The highest frame of a word's edge. */
static float edge_peak(const struct tt_listener *l, int64_t start, int64_t end)
{
    float peak_db = -100.0f;
    if (end > l->rated + 1)
        end = l->rated + 1; /* the frame under way is rated, though not counted yet */
    for (int64_t i = start < 0 ? 0 : start; i < end; i++)
        if (tt_heard_at(l, i)->over_db > peak_db)
            peak_db = tt_heard_at(l, i)->over_db;
    return peak_db;
}

/* A walk over a visible stretch, cutting it at valleys that are deep against both sides. */
struct valley_walk {
    int64_t start, low_at;
    float peak_db, low_db, before_db;
    bool touches_before;
    int count;
};

static void close_piece(struct tt_listener *l, struct valley_walk *walk, int64_t end, bool touches_after)
{
    if (end > walk->start && walk->count < TT_MOST_PIECES) {
        l->pieces[walk->count++] = (struct tt_piece){.start = walk->start,
                                                     .end = end,
                                                     .peak_db = edge_peak(l, walk->start, end),
                                                     .dip_before_db = walk->before_db,
                                                     .dip_after_db = tt_heard_at(l, end - 1)->over_db,
                                                     .touches_before = walk->touches_before,
                                                     .touches_after = touches_after};
    }
    walk->touches_before = false;
    walk->start = end;
    walk->before_db = walk->low_db;
}

/* Cuts [start, end), all visible. The words it touches count with their edges, so that a breath hard beside a word is
 * parted from it. */
static int cut_at_valleys(struct tt_listener *l, int64_t start, int64_t end, bool touches_before, bool touches_after,
                          int count)
{
    int64_t edge = tt_listener_frames(l, word_edge_ms);
    struct valley_walk walk = {.start = start,
                               .low_at = start,
                               .peak_db = -100.0f,
                               .low_db = 1e9f,
                               .touches_before = touches_before,
                               .count = count};
    walk.before_db = tt_heard_at(l, start)->over_db;
    if (touches_before)
        walk.peak_db = edge_peak(l, start - edge, start);
    float after_db = touches_after ? edge_peak(l, end, end + edge) : -100.0f;
    for (int64_t i = start; i <= end; i++) {
        float over_db = i < end ? tt_heard_at(l, i)->over_db : after_db;
        if (over_db > walk.low_db + valley_db && walk.peak_db > walk.low_db + valley_db) {
            close_piece(l, &walk, walk.low_at, false);
            walk.peak_db = over_db;
            walk.low_db = 1e9f;
        }
        if (over_db > walk.peak_db) {
            walk.peak_db = over_db;
            walk.low_db = 1e9f;
        }
        if (i < end && over_db < walk.low_db) {
            walk.low_db = over_db;
            walk.low_at = i;
        }
    }
    close_piece(l, &walk, end, touches_after);
    return walk.count;
}

/* Hard by a word all that stands over the room is visible; farther off, only what may be a sound. */
static bool is_visible(const struct tt_listener *l, const struct tt_gap *gap, int64_t frame)
{
    const struct tt_heard_frame *heard = tt_heard_at(l, frame);
    const int64_t near = tt_listener_frames(l, TT_SYLLABLE_MS);
    return heard->over_db > visible_db &&
           ((gap->word_before && frame - gap->start < near) || (gap->word_after && gap->end - frame <= near) ||
            heard->is_voiced || tt_listener_moves_near(l, frame));
}

/* A breath, which begins and ends evenly, is no longer (common practice, no source); swells of a room are. */
static const double even_sound_most_ms = 800;

/* What stands over the room by itself, and may be a sound anywhere in it, is seen whole. */
static int64_t end_of_standing(const struct tt_listener *l, const struct tt_gap *gap, int64_t start)
{
    bool is_seen = false;
    int64_t end = start;
    for (; end < gap->end && tt_heard_at(l, end)->over_db > visible_db; end++)
        is_seen = is_seen || is_visible(l, gap, end);
    const bool touches = (gap->word_before && start == gap->start) || (gap->word_after && end == gap->end);
    return is_seen && !touches && end - start <= tt_listener_frames(l, even_sound_most_ms) ? end : start;
}

static int64_t end_of_visible(const struct tt_listener *l, const struct tt_gap *gap, int64_t start)
{
    const bool begins = start == gap->start || tt_heard_at(l, start - 1)->over_db <= visible_db;
    int64_t end = begins ? end_of_standing(l, gap, start) : start;
    while (end < gap->end && is_visible(l, gap, end))
        end++;
    return end;
}

int tt_listener_find_pieces(struct tt_listener *l, const struct tt_gap *gap)
{
    int count = 0;
    int64_t least = tt_listener_frames(l, piece_least_ms);
    for (int64_t i = gap->start; i < gap->end;) {
        const int64_t end = end_of_visible(l, gap, i);
        if (end == i) {
            i++;
            continue;
        }
        bool touches_before = gap->word_before && i == gap->start, touches_after = gap->word_after && end == gap->end;
        if (end - i >= least || touches_before || touches_after)
            count = cut_at_valleys(l, i, end, touches_before, touches_after, count);
        i = end;
    }
    return count;
}
