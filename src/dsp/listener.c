/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Frames go through in this order, each step some way behind the one before: heard (levels), smoothed, voiced, rated
 * against the room (half a minute later), sorted into words and gaps, built into runs, settled. */
#include "dsp/listener.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/listener_parts.h"
#include "dsp/running_quantile.h"

static const double window_s = 26.0; /* of the room's floor, to either side (methods: +-30 s) */
static const double settled_after_s = 31.8;
static const float silence_power =
    1e-12f; /* -120 dBFS: under the noise of any microphone, over what a filter leaves behind */
/* The heart of a word: voiced and within 28 dB of the speech (methods), or anything within 9 dB of it: the peaks of
 * a breath reach -14 dB (measured). */
static const float voiced_least = 0.55f, sure_over_db = 7.0f, sure_voiced_db = -28.0f, sure_any_db = -9.0f;
/* Steady noise sways by 1 / sqrt(bandwidth * time) of its power; narrow bands must stand out that much further. */
static const double db_per_relative = 4.343, smoothed_s = 0.020;
static const float voice_low_least = 0.15f; /* of a voiced sound's power lies below 600 Hz (measured) */

static bool open_parts(struct tt_listener *l, struct tt_error *err)
{
    int64_t ring = 1, rooms = 1;
    while (ring < l->delay_frames + tt_listener_frames(l, 3000.0))
        ring *= 2;
    while (rooms < ring / TT_BLOCK_FRAMES + 2)
        rooms *= 2;
    l->ring_mask = ring - 1;
    l->room_mask = rooms - 1;
    l->ring = calloc((size_t)ring, sizeof *l->ring);
    l->rooms = calloc((size_t)rooms, sizeof *l->rooms);
    l->nothing = calloc((size_t)l->shape.hop_samples, sizeof *l->nothing);
    l->run_counts = calloc(TT_LEVEL_STEPS, sizeof *l->run_counts);
    l->run_powers = calloc(TT_LEVEL_STEPS, sizeof *l->run_powers);
    l->run_floors = calloc(TT_LEVEL_STEPS, sizeof *l->run_floors);
    if (l->ring == NULL || l->rooms == NULL || l->nothing == NULL || l->run_counts == NULL || l->run_powers == NULL ||
        l->run_floors == NULL)
        return tt_fail_memory(err);
    l->voicing = tt_voicing_create(l->shape.rate_hz, l->shape.hop_samples, err);
    if (l->voicing == NULL)
        return false;
    l->floor = tt_band_floor_create(&l->plan, l->frames_per_s / TT_BLOCK_FRAMES, window_s, err);
    return l->floor != NULL;
}

struct tt_listener *tt_listener_create(struct tt_stft_shape shape, struct tt_error *err)
{
    struct tt_listener *l = calloc(1, sizeof *l);
    if (l == NULL) {
        tt_fail_memory(err);
        return NULL;
    }
    l->shape = shape;
    l->plan = tt_band_plan_for(shape);
    l->frames_per_s = (double)shape.rate_hz / shape.hop_samples;
    l->delay_frames = tt_listener_frames(l, 1000.0 * settled_after_s);
    l->block_is_heard = true;
    l->low_share = tt_band_low_share(&l->plan);
    for (int b = 0; b < l->plan.band_count; b++)
        l->sway_db[b] = (float)(db_per_relative / sqrt(l->plan.width_hz[b] * smoothed_s));
    l->last_speech = l->last_sound = l->open_run.last_end = -tt_listener_frames(l, 10000.0);
    if (!open_parts(l, err)) {
        tt_listener_destroy(l);
        return NULL;
    }
    return l;
}

void tt_listener_destroy(struct tt_listener *l)
{
    if (l == NULL)
        return;
    tt_voicing_destroy(l->voicing);
    tt_band_floor_destroy(l->floor);
    free(l->ring);
    free(l->rooms);
    free(l->nothing);
    free(l->run_counts);
    free(l->run_powers);
    free(l->run_floors);
    free(l->runs);
    free(l->sounds);
    free(l);
}

/* ---- hearing ---- */

static void smooth_frame(struct tt_listener *l)
{
    struct tt_band_powers smooth = tt_band_powers_smooth(l->recent, l->have);
    struct tt_heard_frame *frame = tt_heard_at(l, l->smoothed++);
    for (int b = 0; b < l->plan.band_count; b++)
        frame->band_db[b] = tt_level_db_of(smooth.band[b]);
    frame->all_db = tt_level_db_of(smooth.all);
}

static void shift_recent(struct tt_listener *l, const struct tt_band_powers *powers)
{
    memmove(l->recent, l->recent + 1, 4 * sizeof l->recent[0]);
    memmove(l->have, l->have + 1, 4 * sizeof l->have[0]);
    l->have[4] = powers != NULL;
    if (powers != NULL)
        l->recent[4] = *powers;
    if (l->have[4 - TT_BANDS_DELAY])
        smooth_frame(l);
}

static void close_block(struct tt_listener *l, int frames)
{
    for (int b = 0; b < TT_BANDS; b++)
        l->block.band[b] /= (float)frames;
    l->block.all /= (float)frames;
    tt_band_floor_add(l->floor, &l->block, l->block_is_heard);
    l->block = (struct tt_band_powers){0};
    l->block_is_heard = true;
}

static void fill_block(struct tt_listener *l, const struct tt_band_powers *powers, bool is_silent)
{
    for (int b = 0; b < TT_BANDS; b++)
        l->block.band[b] += powers->band[b];
    l->block.all += powers->all;
    l->block_is_heard = l->block_is_heard && !is_silent;
    if (l->heard % TT_BLOCK_FRAMES == 0)
        close_block(l, TT_BLOCK_FRAMES);
}

/* Every second frame is worked out, the other takes the same. */
static void hear_voicing(struct tt_listener *l, const float *samples, int64_t call)
{
    int64_t frame = call - tt_voicing_delay_hops(l->voicing);
    bool is_wanted = frame >= 0 && frame % 2 == 0 && !tt_heard_at(l, frame)->is_silent;
    if (is_wanted)
        l->last_voicing = tt_voicing_next(l->voicing, samples);
    else
        tt_voicing_skip(l->voicing, samples);
    if (frame < 0)
        return;
    tt_heard_at(l, frame)->voicing = tt_heard_at(l, frame)->is_silent ? 0.0f : l->last_voicing;
    l->voiced = frame + 1;
}

/* ---- rating ---- */

/* The two best bands, less a decibel since the best of eight is high by chance, or the four best (methods). */
static float best_over(const float *over_db, int count)
{
    float best[4] = {-99.0f, -99.0f, -99.0f, -99.0f};
    for (int b = 0; b < count; b++) {
        float value = over_db[b];
        for (int k = 0; k < 4; k++)
            if (value > best[k]) {
                float kept = best[k];
                best[k] = value;
                value = kept;
            }
    }
    float two = 0.5f * (best[0] + best[1]) - 1.0f, four = 0.25f * (best[0] + best[1] + best[2] + best[3]);
    return count < 4 || two > four ? two : four;
}

/* How much of what is heard below 600 Hz can be a voice's: hum is periodic, too, and the narrow hiss of a breath nearly
 * so, but the first is the room's, and the second has next to nothing down there. */
static float voice_share(const struct tt_listener *l, const struct tt_heard_frame *frame,
                         const struct tt_room_level *room)
{
    float low = tt_listener_low_power(l, frame->band_db), low_own = low - tt_listener_low_power(l, room->band_db);
    float all_own = tt_power_of_level(frame->all_db) - tt_power_of_level(room->all_db);
    if (!(low_own > 0.0f))
        return 0.0f;
    float own = low_own / low, weight = all_own > low_own ? low_own / (all_own * voice_low_least) : 1.0f;
    return own * (weight < 1.0f ? weight : 1.0f);
}

static void rate_frame(struct tt_listener *l, int64_t at)
{
    struct tt_heard_frame *frame = tt_heard_at(l, at);
    const struct tt_room_level *room = tt_room_at(l, at);
    float over_db[TT_BANDS];
    for (int b = 0; b < l->plan.band_count; b++)
        over_db[b] = frame->band_db[b] - room->band_db[b] - l->sway_db[b];
    frame->over_db = frame->is_silent ? -40.0f : best_over(over_db, l->plan.band_count);
    frame->voiced = frame->voicing * voice_share(l, frame, room);
    frame->is_voiced = frame->voiced > voiced_least && frame->over_db > sure_over_db;
    float level_db = frame->all_db - room->speech_db;
    frame->is_sure = (frame->is_voiced && level_db > sure_voiced_db) ||
                     (frame->over_db > sure_over_db && level_db > sure_any_db && tt_listener_moves_near(l, at));
}

static bool rate_blocks(struct tt_listener *l, struct tt_error *err)
{
    struct tt_room_level level;
    while (tt_band_floor_next(l->floor, &level)) {
        l->rooms[l->blocks_rated++ & l->room_mask] = level;
        for (int k = 0; k < TT_BLOCK_FRAMES && l->rated < l->heard; k++, l->rated++) {
            rate_frame(l, l->rated);
            if (!tt_listener_step(l, l->rated, err))
                return false;
        }
        /* At once, so that what is known of the room between the words does not depend on where the take ends. */
        if (!tt_listener_build_runs(l, l->sorted, false, err))
            return false;
    }
    return true;
}

bool tt_listener_add(struct tt_listener *l, const float *power, const float *samples, struct tt_error *err)
{
    struct tt_band_powers powers = tt_band_powers_of(&l->plan, power, l->shape.bin_count);
    struct tt_heard_frame *frame = tt_heard_at(l, l->heard);
    memset(frame, 0, sizeof *frame);
    frame->whole = powers.whole;
    frame->is_silent = powers.whole <= silence_power;
    hear_voicing(l, samples, l->heard);
    l->heard++;
    shift_recent(l, &powers);
    fill_block(l, &powers, frame->is_silent);
    if (!rate_blocks(l, err))
        return false;
    int64_t settled = l->heard - l->delay_frames;
    l->settled = settled > 0 ? settled : 0;
    return true;
}

bool tt_listener_finish(struct tt_listener *l, int64_t sample_count, struct tt_error *err)
{
    if (l->finished)
        return true;
    l->finished = true;
    l->sample_count = sample_count;
    for (int i = 0; i < TT_BANDS_DELAY; i++)
        shift_recent(l, NULL);
    for (int64_t call = l->heard; l->voiced < l->heard; call++)
        hear_voicing(l, l->nothing, call);
    if (l->heard % TT_BLOCK_FRAMES != 0)
        close_block(l, (int)(l->heard % TT_BLOCK_FRAMES));
    tt_band_floor_end(l->floor);
    if (!rate_blocks(l, err))
        return false;
    if (!tt_listener_end_words(l, err) || !tt_listener_build_runs(l, l->heard, true, err))
        return false;
    l->settled = l->heard;
    return true;
}

int64_t tt_listener_settled(const struct tt_listener *l) { return l->settled; }
int64_t tt_listener_delay_frames(const struct tt_listener *l) { return l->delay_frames; }
enum tt_frame_state tt_listener_state(const struct tt_listener *l, int64_t frame)
{
    return (enum tt_frame_state)tt_heard_at(l, frame)->state;
}
const struct tt_run *tt_listener_runs(const struct tt_listener *l, size_t *count)
{
    *count = l->run_count;
    return l->runs;
}
const struct tt_sound *tt_listener_sounds(const struct tt_listener *l, size_t *count)
{
    *count = l->sound_count;
    return l->sounds;
}
float tt_listener_voiced(const struct tt_listener *l, int64_t frame) { return tt_heard_at(l, frame)->voiced; }
const int64_t *tt_listener_over_words(const struct tt_listener *l, size_t *count)
{
    *count = l->over_count;
    return l->over_words;
}
