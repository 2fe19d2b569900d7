/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A gap between the hearts of two words holds the words' own weak edges, and breaths, clicks and noises between them. */
#include <math.h>

#include "dsp/breath_model.h"
#include "dsp/listener_parts.h"

static const float visible_db = 3.0f;         /* over the room: where an edge is followed to (methods: > 3 dB) */
static const float valley_db = 5.0f;          /* a dip this deep parts two sounds (methods) */
static const float attached_peak_db = 7.0f;   /* what is weaker is a ripple of the room, not a sound beside a word */
static const float alone_peak_db = 7.0f;      /* methods: on at 7 dB */
static const double breath_least_ms = 40.0, breath_most_ms = 1300.0; /* methods: 80-1300; shorter ones are the ends of one in noise */
/* What is called a breath; short ones must be likelier, since other small sounds are short. */
static const float breath_sure = 0.5f, short_breath_sure = 0.9f;
static const double short_breath_ms = 60.0, whole_breath_ms = 160.0;
/* Hard by a word, only what the room parts from it is a breath: a final s has a dip before it, too. */
static const double hard_by_ms = 30.0;
static const float parted_dip_db = 10.0f;
static const float breath_part = 0.3f;
static const double breath_parts_ms = 250.0;
static const double joined_gap_ms = 80.0;     /* methods: gaps shorter than this hold no breath */
/* A stop's closure, and the voiceless start of a word, are shorter than these (from memory: closures 40-150 ms). */
static const double reach_after_word_ms = 150.0, reach_before_word_ms = 120.0;
static const double word_edge_ms = 60.0;
static const double farthest_after_word_ms = 250.0, farthest_before_word_ms = 200.0, attached_most_ms = 400.0;
static const float attached_level_db = -36.0f; /* against the speech; -30 dB of a line's peak is what is listened for (goals) */
static const double piece_least_ms = 20.0;
static const double click_most_ms = 60.0, word_least_ms = 50.0;
/* A sound worth a row: how far it stands over the room in its best bands, how loud it is against the speech, and how far its own power
 * lies over the whole room's. What is fainter is left to the room. */
struct worth { float peak_db, level_db, over_room_db; };
static const struct worth worth_click = {10.0f, -36.0f, 3.0f}, worth_noise = {10.0f, -32.0f, 6.0f};
static const float voiced_least = 0.55f;

/* The highest frame of a word's edge. */
static float edge_peak(const struct tt_listener *l, int64_t start, int64_t end) {
    float peak_db = -100.0f;
    if (end > l->rated + 1) end = l->rated + 1;   /* the frame under way is rated, though not counted yet */
    for (int64_t i = start < 0 ? 0 : start; i < end; i++)
        if (tt_heard_at(l, i)->over_db > peak_db) peak_db = tt_heard_at(l, i)->over_db;
    return peak_db;
}

/* A walk over a visible stretch, cutting it at valleys that are deep against both sides. */
struct valley_walk { int64_t start, low_at; float peak_db, low_db, before_db; bool touches_before; int count; };

static void close_piece(struct tt_listener *l, struct valley_walk *walk, int64_t end, bool touches_after) {
    if (end > walk->start && walk->count < TT_MOST_PIECES) {
        l->pieces[walk->count++] = (struct tt_piece){
            .start = walk->start, .end = end, .peak_db = edge_peak(l, walk->start, end), .dip_before_db = walk->before_db,
            .dip_after_db = tt_heard_at(l, end - 1)->over_db, .touches_before = walk->touches_before, .touches_after = touches_after};
    }
    walk->touches_before = false;
    walk->start = end;
    walk->before_db = walk->low_db;
}

/* Cuts [start, end), all visible. The words it touches count with their edges, so that a breath hard beside a word is parted from it. */
static int cut_at_valleys(struct tt_listener *l, int64_t start, int64_t end, bool touches_before, bool touches_after, int count) {
    int64_t edge = tt_listener_frames(l, word_edge_ms);
    struct valley_walk walk = {.start = start, .low_at = start, .peak_db = -100.0f, .low_db = 1e9f, .touches_before = touches_before, .count = count};
    walk.before_db = tt_heard_at(l, start)->over_db;
    if (touches_before) walk.peak_db = edge_peak(l, start - edge, start);
    float after_db = touches_after ? edge_peak(l, end, end + edge) : -100.0f;
    for (int64_t i = start; i <= end; i++) {
        float over_db = i < end ? tt_heard_at(l, i)->over_db : after_db;
        if (over_db > walk.low_db + valley_db && walk.peak_db > walk.low_db + valley_db) {
            close_piece(l, &walk, walk.low_at, false);
            walk.peak_db = over_db;
            walk.low_db = 1e9f;
        }
        if (over_db > walk.peak_db) { walk.peak_db = over_db; walk.low_db = 1e9f; }
        if (i < end && over_db < walk.low_db) { walk.low_db = over_db; walk.low_at = i; }
    }
    close_piece(l, &walk, end, touches_after);
    return walk.count;
}

static int find_pieces(struct tt_listener *l, const struct tt_gap *gap) {
    int count = 0;
    int64_t least = tt_listener_frames(l, piece_least_ms);
    for (int64_t i = gap->start; i < gap->end;) {
        if (tt_heard_at(l, i)->over_db <= visible_db) { i++; continue; }
        int64_t end = i;
        while (end < gap->end && tt_heard_at(l, end)->over_db > visible_db) end++;
        bool touches_before = gap->word_before && i == gap->start, touches_after = gap->word_after && end == gap->end;
        if (end - i >= least || touches_before || touches_after)
            count = cut_at_valleys(l, i, end, touches_before, touches_after, count);
        i = end;
    }
    return count;
}

static void judge_breaths(struct tt_listener *l, const struct tt_gap *gap, int count) {
    int64_t least = tt_listener_frames(l, breath_least_ms), most = tt_listener_frames(l, breath_most_ms);
    for (int k = 0; k < count; k++) {
        struct tt_piece *piece = &l->pieces[k];
        int64_t length = piece->end - piece->start;
        if (piece->touches_before || piece->touches_after || length < least || length > most) continue;
        struct tt_breath_clues clues = tt_listener_clues(l, piece, gap);
        if (clues.since_word_ms < hard_by_ms && clues.dip_before_db > parted_dip_db) continue;
        if (clues.until_word_ms < hard_by_ms && clues.dip_after_db > parted_dip_db) continue;
        piece->breath = tt_breath_likelihood(&clues);
    }
}

static bool is_breath(const struct tt_listener *l, const struct tt_piece *piece) {
    double ms = 1000.0 * (double)(piece->end - piece->start) / l->frames_per_s;
    double part = (whole_breath_ms - ms) / (whole_breath_ms - short_breath_ms);
    part = part < 0.0 ? 0.0 : part > 1.0 ? 1.0 : part;
    return piece->breath >= breath_sure + (float)part * (short_breath_sure - breath_sure);
}

/* One breath may come in parts, such as a click of the lips and what follows, or its two ends in noise: parts near each other become
 * one, given that they might be breaths and hang on no word. */
static int join_breaths(struct tt_listener *l, int count) {
    int64_t near = tt_listener_frames(l, breath_parts_ms), most = tt_listener_frames(l, breath_most_ms);
    int kept = 0;
    for (int k = 0; k < count; k++) {
        struct tt_piece *piece = &l->pieces[k], *last = kept > 0 ? &l->pieces[kept - 1] : NULL;
        bool joins = last != NULL && last->breath >= breath_part && piece->breath >= breath_part &&
                     (last->breath >= breath_sure || piece->breath >= breath_sure) &&
                     piece->start - last->end <= near && piece->end - last->start <= most;
        if (!joins) { l->pieces[kept++] = *piece; continue; }
        last->end = piece->end;
        last->dip_after_db = piece->dip_after_db;
        if (piece->peak_db > last->peak_db) last->peak_db = piece->peak_db;
        if (piece->breath > last->breath) last->breath = piece->breath;
    }
    for (int k = 0; k < kept; k++) l->pieces[k].is_breath = is_breath(l, &l->pieces[k]);
    return kept;
}

/* What a frame has of its own, by band, against the speech. A band counts when it stands clear of the room's own swaying. */
static float own_level_db(const struct tt_listener *l, int64_t frame) {
    const struct tt_heard_frame *heard = tt_heard_at(l, frame);
    const struct tt_room_level *room = tt_room_at(l, frame);
    float own = 0.0f;
    for (int b = 0; b < l->plan.band_count; b++) {
        float level = tt_power_of_level(heard->band_db[b]), most_of_room = tt_power_of_level(room->band_db[b] + 2.0f * l->sway_db[b]);
        if (level > most_of_room) own += (float)(l->plan.first_bin[b + 1] - l->plan.first_bin[b]) * level;
    }
    return tt_level_db_of(own / l->plan.bins_in_all) - room->speech_db;
}

static float loudest_db(const struct tt_listener *l, const struct tt_piece *piece) {
    float highest_db = -200.0f;
    for (int64_t i = piece->start; i < piece->end; i++) {
        float own_db = own_level_db(l, i);
        if (own_db > highest_db) highest_db = own_db;
    }
    return highest_db;
}

/* What hangs on a word without a valley is its own; what stands beside it must be loud enough to be missed. */
static bool may_belong(const struct tt_listener *l, const struct tt_piece *piece) {
    if (piece->touches_before || piece->touches_after) return true;
    return piece->peak_db >= attached_peak_db && piece->end - piece->start <= tt_listener_frames(l, attached_most_ms) && loudest_db(l, piece) >= attached_level_db;
}

/* Weak sounds belong to the word beside them, one after the other, as far as a breath or a pause. */
static void attach(struct tt_listener *l, const struct tt_gap *gap, int count) {
    int64_t reach = tt_listener_frames(l, reach_after_word_ms), farthest = gap->start + tt_listener_frames(l, farthest_after_word_ms);
    int64_t from = gap->start;
    for (int k = 0; gap->word_before && k < count; k++) {
        struct tt_piece *piece = &l->pieces[k];
        if (piece->is_breath || piece->start - from > reach || (piece->start > farthest && !piece->touches_before)) break;
        if (!may_belong(l, piece)) continue;
        piece->is_speech = true;
        from = piece->end;
    }
    reach = tt_listener_frames(l, reach_before_word_ms);
    farthest = gap->end - tt_listener_frames(l, farthest_before_word_ms);
    from = gap->end;
    for (int k = count - 1; gap->word_after && k >= 0; k--) {
        struct tt_piece *piece = &l->pieces[k];
        if (piece->is_breath || from - piece->end > reach || (piece->end < farthest && !piece->touches_after)) break;
        if (!may_belong(l, piece)) continue;
        piece->is_speech = true;
        from = piece->start;
    }
}

static void mark(struct tt_listener *l, int64_t start, int64_t end, enum tt_heard_as as) {
    for (int64_t i = start; i < end; i++) tt_heard_at(l, i)->heard_as = (uint8_t)as;
}

static int voiced_frames(const struct tt_listener *l, int64_t start, int64_t end) {
    int count = 0;
    for (int64_t i = start; i < end; i++) count += tt_heard_at(l, i)->voiced > voiced_least;
    return count;
}

static bool judge_alone(struct tt_listener *l, const struct tt_piece *piece, struct tt_error *err) {
    double ms = 1000.0 * (double)(piece->end - piece->start) / l->frames_per_s;
    if (piece->peak_db < alone_peak_db) return true;
    int voiced = voiced_frames(l, piece->start, piece->end);
    if (voiced >= 4 && ms >= word_least_ms) {
        mark(l, piece->start, piece->end, TT_HEARD_SPEECH);
        return true;
    }
    mark(l, piece->start, piece->end, TT_HEARD_SOUND);
    const struct tt_room_level *room = tt_room_at(l, piece->start);
    bool is_click = ms < click_most_ms;
    const struct worth *worth = is_click ? &worth_click : &worth_noise;
    float level_db = loudest_db(l, piece), over_room_db = level_db - (room->all_db - room->speech_db);
    if (piece->peak_db < worth->peak_db || level_db < worth->level_db || over_room_db < worth->over_room_db) return true;
    float sure = 1.0f - expf(-0.15f * (piece->peak_db - 2.0f));
    return tt_listener_note_sound(l, piece->start, piece->end, is_click ? TT_SOUND_CLICK : TT_SOUND_NOISE, is_click ? sure : 0.7f * sure, err);
}

static bool mark_pieces(struct tt_listener *l, const struct tt_gap *gap, int count, struct tt_error *err) {
    int64_t speech_from = gap->word_before ? gap->start : -1;
    for (int k = 0; k < count; k++) {
        const struct tt_piece *piece = &l->pieces[k];
        if (piece->is_breath) {
            mark(l, piece->start, piece->end, TT_HEARD_SOUND);
            speech_from = -1;
            if (!tt_listener_note_sound(l, piece->start, piece->end, TT_SOUND_BREATH, piece->breath, err)) return false;
        } else if (piece->is_speech) {
            bool near = speech_from >= 0 && piece->start - speech_from <= tt_listener_frames(l, reach_after_word_ms);
            mark(l, near ? speech_from : piece->start, piece->end, TT_HEARD_SPEECH);
            speech_from = piece->end;
        } else if (!judge_alone(l, piece, err)) {
            return false;
        }
    }
    bool near = gap->word_after && speech_from > gap->start && gap->end - speech_from <= tt_listener_frames(l, reach_before_word_ms);
    if (near) mark(l, speech_from, gap->end, TT_HEARD_SPEECH);
    return true;
}

bool tt_listener_sort_gap(struct tt_listener *l, struct tt_gap gap, struct tt_error *err) {
    if (gap.word_before && gap.word_after && gap.end - gap.start < tt_listener_frames(l, joined_gap_ms)) {
        mark(l, gap.start, gap.end, TT_HEARD_SPEECH);
        return true;
    }
    mark(l, gap.start, gap.end, TT_HEARD_NOTHING);
    int count = find_pieces(l, &gap);
    judge_breaths(l, &gap, count);
    count = join_breaths(l, count);
    attach(l, &gap, count);
    return mark_pieces(l, &gap, count, err);
}
