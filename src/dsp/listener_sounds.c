/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Sounds between the words; those that are no breaths: what they are called, and how sure it is that they are no words.
 */
#include <math.h>

#include "base/grow.h"
#include "dsp/listener_parts.h"

/* Lips part in two or three clicks; what has so little below 600 Hz is no knock. */
static const double smack_most_ms = 120.0;
static const float bright_most = 0.1f;
/* How sure it is goes by length alone: of 433 sounds shorter than 250 ms none was a word or a part of one, of 84 longer
 * ones 10 were (three hours of prompts and re-readings in made and in recorded rooms, with coughs, pages, chairs,
 * knocks, clicks and single whispered words of our own making laid between the lines; the shortest of those words was
 * 250 ms long). */
static const double surely_none_ms = 200.0, may_be_word_ms = 300.0;
static const float sure_short = 0.97f, sure_long = 0.8f;

static void levels_of(const struct tt_listener *l, int64_t start, int64_t end, float *level_db, float *over_db)
{
    double sum = 0.0, room = 0.0;
    for (int64_t i = start; i < end; i++) {
        sum += tt_heard_at(l, i)->whole;
        room += (double)tt_power_of_level(tt_heard_at(l, i)->all_db - tt_room_at(l, i)->all_db);
    }
    double frames = (double)(end > start ? end - start : 1);
    *level_db = tt_level_db_of((float)(sum / frames));
    *over_db = tt_level_db_of((float)(room / frames));
}

/* Kept in time order: a run that turns out to be a noise comes later than a breath behind it. */
bool tt_listener_note_sound(struct tt_listener *l, int64_t start, int64_t end, enum tt_sound_kind kind,
                            float confidence, struct tt_error *err)
{
    struct tt_sound *sounds = tt_grow(l->sounds, l->sound_count, &l->sound_room, sizeof *sounds, err);
    if (!sounds)
        return false;
    l->sounds = sounds;
    struct tt_sound sound = {.start_sample = tt_listener_sample(l, start),
                             .end_sample = tt_listener_sample(l, end),
                             .kind = kind,
                             .confidence = confidence};
    levels_of(l, start, end, &sound.level_db, &sound.over_floor_db);
    size_t at = l->sound_count++;
    for (; at > 0 && l->sounds[at - 1].start_sample > sound.start_sample; at--)
        l->sounds[at] = l->sounds[at - 1];
    l->sounds[at] = sound;
    return true;
}

static float sureness(double ms)
{
    double part = fmin(fmax((ms - surely_none_ms) / (may_be_word_ms - surely_none_ms), 0.0), 1.0);
    return sure_short + (float)part * (sure_long - sure_short);
}

/* Power of its own in the two lowest bands, against all of it. */
static bool is_bright(const struct tt_listener *l, int64_t start, int64_t end)
{
    float low = 0.0f, all = 0.0f;
    for (int64_t i = start; i < end; i++) {
        const struct tt_heard_frame *frame = tt_heard_at(l, i);
        const struct tt_room_level *room = tt_room_at(l, i);
        low += tt_listener_low_power(l, frame->band_db) - tt_listener_low_power(l, room->band_db);
        all += tt_power_of_level(frame->all_db) - tt_power_of_level(room->all_db);
    }
    return low < bright_most * all;
}

bool tt_listener_note_odd_sound(struct tt_listener *l, int64_t start, int64_t end, struct tt_error *err)
{
    double ms = 1000.0 * (double)(end - start) / l->frames_per_s;
    bool is_click = ms < TT_CLICK_MOST_MS || (ms < smack_most_ms && is_bright(l, start, end));
    return tt_listener_note_sound(l, start, end, is_click ? TT_SOUND_CLICK : TT_SOUND_NOISE, sureness(ms), err);
}
