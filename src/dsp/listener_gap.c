/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Between the hearts of two words lie their own weak edges, and breaths, clicks and noises. */
#include "dsp/breath_model.h"
#include "dsp/listener_parts.h"

static const float attached_peak_db = 7.0f; /* what is weaker is a ripple of the room, not a sound beside a word */
static const float alone_peak_db = 7.0f;    /* methods: on at 7 dB */
static const double breath_least_ms = 40.0,
                    breath_most_ms = 1300.0; /* methods: 80-1300; shorter ones are the ends of one in noise */
/* What is called a breath; short ones must be likelier, since other small sounds are short. */
static const float breath_sure = 0.55f, short_breath_sure = 0.9f;
static const double short_breath_ms = 60.0, whole_breath_ms = 160.0;
/* Hard by a word, only what the room parts from it is a breath: a final s has a dip before it, too. */
static const double hard_by_ms = 30.0;
static const float parted_dip_db = 10.0f;
static const double trimmed_most_ms = 150.0;
static const float trimmed_dip_db = 6.0f;
static const double spared_after_word_ms = 50.0;
static const float breath_part = 0.3f;
static const double breath_parts_ms = 250.0;
static const double joined_gap_ms = 80.0; /* methods: gaps shorter than this hold no breath */
/* A stop's closure, and the voiceless start of a word, are shorter than these (from memory: closures 40-150 ms). */
static const double reach_after_word_ms = 150.0, reach_before_word_ms = 120.0;
static const double farthest_after_word_ms = 250.0, farthest_before_word_ms = 200.0, attached_most_ms = 400.0;
static const float attached_level_db =
    -36.0f; /* against the speech; -30 dB of a line's peak is what is listened for (goals) */
static const double word_least_ms = 50.0, noise_parts_ms = 120.0;
static const int voiced_frames_least = 4;
/* A sound worth a row: how far it stands over the room in its best bands, how loud it is against the speech, and how
 * far its own power lies over the whole room's. What is fainter is left to the room. */
struct worth {
    float peak_db, level_db, over_room_db;
};
static const struct worth worth_click = {10.0f, -36.0f, 3.0f}, worth_noise = {10.0f, -32.0f, 6.0f};

static void judge_breaths(struct tt_listener *l, const struct tt_gap *gap, int count)
{
    int64_t least = tt_listener_frames(l, breath_least_ms), most = tt_listener_frames(l, breath_most_ms);
    float rest_db = tt_listener_rest_db(l, 0.0f);
    for (int k = 0; k < count; k++) {
        struct tt_piece *piece = &l->pieces[k];
        int64_t length = piece->end - piece->start;
        if (piece->touches_before || piece->touches_after || length < least || length > most)
            continue;
        struct tt_breath_clues clues = tt_listener_clues(l, piece, gap);
        if (clues.since_word_ms < hard_by_ms && clues.dip_before_db > parted_dip_db)
            continue;
        if (clues.until_word_ms < hard_by_ms && clues.dip_after_db > parted_dip_db)
            continue;
        piece->breath = tt_listener_among_rustle(tt_breath_likelihood(&clues), piece->peak_db, rest_db);
    }
}

static bool is_breath(const struct tt_listener *l, const struct tt_piece *piece)
{
    double ms = 1000.0 * (double)(piece->end - piece->start) / l->frames_per_s;
    double part = (whole_breath_ms - ms) / (whole_breath_ms - short_breath_ms);
    part = part < 0.0 ? 0.0 : part > 1.0 ? 1.0 : part;
    return piece->breath >= breath_sure + (float)part * (short_breath_sure - breath_sure);
}

/* One breath may come in parts, such as a click of the lips and what follows, or its two ends in noise: parts near each
 * other become one, given that they might be breaths and hang on no word. */
static int join_breaths(struct tt_listener *l, int count)
{
    int64_t near = tt_listener_frames(l, breath_parts_ms), most = tt_listener_frames(l, breath_most_ms);
    int kept = 0;
    for (int k = 0; k < count; k++) {
        struct tt_piece *piece = &l->pieces[k], *last = kept > 0 ? &l->pieces[kept - 1] : NULL;
        bool joins = last != NULL && last->breath >= breath_part && piece->breath >= breath_part &&
                     (last->breath >= breath_sure || piece->breath >= breath_sure) &&
                     piece->start - last->end <= near && piece->end - last->start <= most;
        if (!joins) {
            l->pieces[kept++] = *piece;
            continue;
        }
        last->end = piece->end;
        last->dip_after_db = piece->dip_after_db;
        if (piece->peak_db > last->peak_db)
            last->peak_db = piece->peak_db;
        if (piece->breath > last->breath)
            last->breath = piece->breath;
    }
    for (int k = 0; k < kept; k++)
        l->pieces[k].is_breath = is_breath(l, &l->pieces[k]);
    return kept;
}

/* Where a breath runs into a word without a deep valley, it ends at the lowest place near it: the rest is the word's.
 */
static void trim_breath(const struct tt_listener *l, struct tt_piece *piece, int64_t speech_before,
                        int64_t speech_after)
{
    int64_t near = tt_listener_frames(l, hard_by_ms), reach = tt_listener_frames(l, trimmed_most_ms);
    int64_t length = piece->end - piece->start, start = piece->start, end = piece->end;
    if (reach > length * 2 / 5)
        reach = length * 2 / 5;
    if (speech_after - end < near) {
        int64_t low = end - 1;
        for (int64_t i = end - 1; i >= end - reach; i--)
            if (tt_heard_at(l, i)->over_db < tt_heard_at(l, low)->over_db)
                low = i;
        if (tt_heard_at(l, low)->over_db < piece->peak_db - trimmed_dip_db)
            piece->end = low + 1;
    }
    if (start - speech_before < near) {
        int64_t low = start;
        for (int64_t i = start; i < start + reach; i++)
            if (tt_heard_at(l, i)->over_db < tt_heard_at(l, low)->over_db)
                low = i;
        if (tt_heard_at(l, low)->over_db < piece->peak_db - trimmed_dip_db)
            piece->start = low;
        /* A word's last sound may lie under what the room adds there. */
        int64_t spared = tt_listener_frames(l, spared_after_word_ms) - (piece->start - start);
        if (spared > 0 && piece->end - piece->start > 3 * spared)
            piece->start += spared;
    }
}

/* What a frame has of its own, by band, against the speech. A band counts when it stands clear of the room's own
 * swaying. */
static float own_level_db(const struct tt_listener *l, int64_t frame)
{
    const struct tt_heard_frame *heard = tt_heard_at(l, frame);
    const struct tt_room_level *room = tt_room_at(l, frame);
    float own = 0.0f;
    for (int b = 0; b < l->plan.band_count; b++) {
        float level = tt_power_of_level(heard->band_db[b]),
              most_of_room = tt_power_of_level(room->band_db[b] + 2.0f * l->sway_db[b]);
        if (level > most_of_room)
            own += (float)(l->plan.first_bin[b + 1] - l->plan.first_bin[b]) * level;
    }
    return tt_level_db_of(own / l->plan.bins_in_all) - room->speech_db;
}

static float loudest_db(const struct tt_listener *l, const struct tt_piece *piece)
{
    float highest_db = -200.0f;
    for (int64_t i = piece->start; i < piece->end; i++) {
        float own_db = own_level_db(l, i);
        if (own_db > highest_db)
            highest_db = own_db;
    }
    return highest_db;
}

/* What hangs on a word without a valley is its own; what stands beside it must be loud enough to be missed. */
static bool may_belong(const struct tt_listener *l, const struct tt_piece *piece)
{
    if (piece->touches_before || piece->touches_after)
        return true;
    return piece->peak_db >= attached_peak_db && piece->end - piece->start <= tt_listener_frames(l, attached_most_ms) &&
           loudest_db(l, piece) >= attached_level_db;
}

/* Weak sounds belong to the word beside them, one after the other, as far as a breath or a pause. */
static void attach(struct tt_listener *l, const struct tt_gap *gap, int count)
{
    int64_t reach = tt_listener_frames(l, reach_after_word_ms),
            farthest = gap->start + tt_listener_frames(l, farthest_after_word_ms);
    int64_t from = gap->start;
    for (int k = 0; gap->word_before && k < count; k++) {
        struct tt_piece *piece = &l->pieces[k];
        if (piece->is_breath || piece->start - from > reach || (piece->start > farthest && !piece->touches_before))
            break;
        if (!may_belong(l, piece))
            continue;
        for (int between = k; between >= 0 && !l->pieces[between].is_speech; between--)
            l->pieces[between].is_speech = true;
        from = piece->end;
    }
    reach = tt_listener_frames(l, reach_before_word_ms);
    farthest = gap->end - tt_listener_frames(l, farthest_before_word_ms);
    from = gap->end;
    for (int k = count - 1; gap->word_after && k >= 0; k--) {
        struct tt_piece *piece = &l->pieces[k];
        if (piece->is_breath || from - piece->end > reach || (piece->end < farthest && !piece->touches_after))
            break;
        if (!may_belong(l, piece))
            continue;
        for (int between = k; between < count && !l->pieces[between].is_speech; between++)
            l->pieces[between].is_speech = true;
        from = piece->start;
    }
}

static void mark(struct tt_listener *l, int64_t start, int64_t end, enum tt_heard_as as)
{
    for (int64_t i = start; i < end; i++)
        tt_heard_at(l, i)->heard_as = (uint8_t)as;
}

static int voiced_frames(const struct tt_listener *l, int64_t start, int64_t end)
{
    int count = 0;
    for (int64_t i = start; i < end; i++)
        count += tt_heard_at(l, i)->is_voiced;
    return count;
}

static bool is_worth_a_row(const struct tt_listener *l, const struct tt_piece *piece)
{
    const struct tt_room_level *room = tt_room_at(l, piece->start);
    const struct worth *worth =
        piece->end - piece->start < tt_listener_frames(l, TT_CLICK_MOST_MS) ? &worth_click : &worth_noise;
    float level_db = loudest_db(l, piece), over_room_db = level_db - (room->all_db - room->speech_db);
    return piece->peak_db >= worth->peak_db && level_db >= worth->level_db && over_room_db >= worth->over_room_db;
}

/* A cough or a page comes in many strokes: those that follow each other closely are one noise. */
static int join_noises(struct tt_listener *l, int count)
{
    int64_t near = tt_listener_frames(l, noise_parts_ms);
    int kept = 0;
    for (int k = 0; k < count; k++) {
        struct tt_piece *piece = &l->pieces[k], *last = kept > 0 ? &l->pieces[kept - 1] : NULL;
        bool is_alone = !piece->is_breath && !piece->is_speech && is_worth_a_row(l, piece);
        if (last == NULL || !is_alone || last->is_breath || last->is_speech || piece->start - last->end > near ||
            !is_worth_a_row(l, last)) {
            l->pieces[kept++] = *piece;
            continue;
        }
        last->end = piece->end;
        if (piece->peak_db > last->peak_db)
            last->peak_db = piece->peak_db;
    }
    return kept;
}

static bool judge_alone(struct tt_listener *l, const struct tt_piece *piece, struct tt_error *err)
{
    if (piece->peak_db < alone_peak_db)
        return true;
    if (voiced_frames(l, piece->start, piece->end) >= voiced_frames_least &&
        piece->end - piece->start >= tt_listener_frames(l, word_least_ms)) {
        mark(l, piece->start, piece->end, TT_HEARD_SPEECH);
        return true;
    }
    mark(l, piece->start, piece->end, TT_HEARD_SOUND);
    return !is_worth_a_row(l, piece) || tt_listener_note_odd_sound(l, piece->start, piece->end, err);
}

static bool mark_pieces(struct tt_listener *l, const struct tt_gap *gap, int count, struct tt_error *err)
{
    int64_t speech_from = gap->word_before ? gap->start : -1;
    for (int k = 0; k < count; k++) {
        struct tt_piece *piece = &l->pieces[k];
        if (piece->is_breath) {
            int64_t start = piece->start, end = piece->end;
            const struct tt_piece *next = k + 1 < count && piece[1].is_speech ? &piece[1] : NULL;
            trim_breath(l, piece, speech_from >= 0 ? speech_from : INT64_MIN / 2,
                        next != NULL      ? next->start
                        : gap->word_after ? gap->end
                                          : INT64_MAX / 2);
            mark(l, start, piece->start, TT_HEARD_SPEECH);
            mark(l, piece->end, end, TT_HEARD_SPEECH);
            mark(l, piece->start, piece->end, TT_HEARD_SOUND);
            speech_from = piece->end < end ? end : -1;
            if (!tt_listener_note_sound(l, piece->start, piece->end, TT_SOUND_BREATH, piece->breath, err))
                return false;
        } else if (piece->is_speech) {
            bool near = speech_from >= 0 && piece->start - speech_from <= tt_listener_frames(l, reach_after_word_ms);
            mark(l, near ? speech_from : piece->start, piece->end, TT_HEARD_SPEECH);
            speech_from = piece->end;
        } else {
            if (!judge_alone(l, piece, err))
                return false;
            if (tt_heard_at(l, piece->start)->heard_as == TT_HEARD_SOUND)
                speech_from = -1;
        }
    }
    bool near = gap->word_after && speech_from > gap->start &&
                gap->end - speech_from <= tt_listener_frames(l, reach_before_word_ms);
    if (near)
        mark(l, speech_from, gap->end, TT_HEARD_SPEECH);
    return true;
}

bool tt_listener_sort_gap(struct tt_listener *l, struct tt_gap gap, struct tt_error *err)
{
    if (gap.word_before && gap.word_after && gap.end - gap.start < tt_listener_frames(l, joined_gap_ms)) {
        mark(l, gap.start, gap.end, TT_HEARD_SPEECH);
        return true;
    }
    mark(l, gap.start, gap.end, TT_HEARD_NOTHING);
    int count = tt_listener_find_pieces(l, &gap);
    judge_breaths(l, &gap, count);
    count = join_breaths(l, count);
    attach(l, &gap, count);
    count = join_noises(l, count);
    return mark_pieces(l, &gap, count, err);
}
