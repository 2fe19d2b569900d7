/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/voices.h"

#include <math.h>
#include <stdlib.h>

#include "audio/reader.h"
#include "audio/resample.h"
#include "base/rescale.h"
#include "base/units.h"
#include "dsp/room_tone.h"
#include "pipeline/limit_record.h"
#include "session/voice_room.h"

enum { BLOCK_SAMPLES = 1 << 14 };
/* The voice's own room tone goes over into the made one within its first and last samples, which are room tone, too
 * (edge_ms). */
static const double fade_ms = 20;
/* Two tones that go over into each other must have nothing in common. */
static const uint64_t tone_seed_step = 0x9E3779B97F4A7C15u;

struct tt_voices {
    const struct tt_voice_part *parts;
    size_t count, at; /* part under way */
    int rate_hz;
    bool is_open; /* the part under way */
    struct tt_reader *reader;
    struct tt_limit_reader *limits; /* NULL where nothing was limited */
    int channel_count;
    struct tt_resampler *resampler;
    struct tt_voice_room
        *rooms; /* of each part that tone is made around: heard once, in whichever reading is the first */
    struct tt_room_tone *tone_head, *tone_tail; /* NULL where none is made around the part */
    struct tt_floor_track room_before;          /* of the part before, at its tail, at this part's rate */
    struct tt_room_tone *tone_before;           /* of it; NULL where nothing was made there */
    int64_t position;                           /* in the part, tone included, at its own rate */
    float *interleaved, *mono, *other;
    size_t mono_count, mono_used; /* waiting for the resampler */
};

static int64_t part_length(const struct tt_voice_part *part)
{
    return part->tone_before + part->frames + part->tone_behind;
}

int64_t tt_voices_start(const struct tt_voices *voices, size_t part)
{
    int64_t at = 0;
    for (size_t i = 0; i < part; i++)
        at += tt_rescale_frames(part_length(&voices->parts[i]), voices->parts[i].rate_hz, voices->rate_hz);
    return at;
}

int64_t tt_voices_voice_start(const struct tt_voices *voices, size_t part)
{
    return tt_voices_start(voices, part) +
           tt_rescale_frames(voices->parts[part].tone_before, voices->parts[part].rate_hz, voices->rate_hz);
}

static void close_part(struct tt_voices *voices)
{
    tt_reader_close(voices->reader);
    tt_limit_reader_close(voices->limits);
    voices->limits = NULL;
    tt_resampler_destroy(voices->resampler);
    tt_room_tone_destroy(voices->tone_head);
    tt_room_tone_destroy(voices->tone_tail);
    tt_room_tone_destroy(voices->tone_before);
    tt_floor_track_free(&voices->room_before);
    voices->tone_head = voices->tone_tail = voices->tone_before = NULL;
    voices->reader = NULL;
    voices->resampler = NULL;
    voices->is_open = false;
    voices->position = 0;
    voices->mono_count = voices->mono_used = 0;
}

void tt_voices_close(struct tt_voices *voices)
{
    if (!voices)
        return;
    close_part(voices);
    for (size_t i = 0; voices->rooms && i < voices->count; i++)
        tt_voice_room_free(&voices->rooms[i]);
    free(voices->rooms);
    free(voices->interleaved);
    free(voices->mono);
    free(voices->other);
    free(voices);
}

struct tt_voices *tt_voices_open(const struct tt_voice_part *parts, size_t count, int rate_hz, struct tt_error *err)
{
    struct tt_voices *voices = calloc(1, sizeof *voices);
    if (!voices) {
        tt_fail_memory(err);
        return NULL;
    }
    *voices = (struct tt_voices){.parts = parts, .count = count, .rate_hz = rate_hz};
    voices->rooms = calloc(count + 1, sizeof *voices->rooms);
    voices->interleaved = malloc(2 * BLOCK_SAMPLES * sizeof(float));
    voices->mono = malloc(BLOCK_SAMPLES * sizeof(float));
    voices->other = malloc(BLOCK_SAMPLES * sizeof(float));
    if (!voices->rooms || !voices->interleaved || !voices->mono || !voices->other) {
        tt_voices_close(voices);
        tt_fail_memory(err);
        return NULL;
    }
    return voices;
}

/* One node each, once they are heard. */
static bool is_heard(const struct tt_voice_room *room) { return room->tail.node_count > 0; }

static bool open_tones(struct tt_voices *voices, const struct tt_voice_part *part, struct tt_error *err)
{
    struct tt_voice_room *room = &voices->rooms[voices->at];
    if ((!is_heard(room) && !tt_voice_room_hear(part, room, err)) ||
        !(voices->tone_head = tt_room_tone_create(&room->head, 1, part->seed, err)) ||
        !(voices->tone_tail = tt_room_tone_create(&room->tail, 1, part->seed + 2 * tone_seed_step, err)))
        return false;
    if (voices->at == 0 || !is_heard(room - 1))
        return true;
    return tt_floor_track_at_rate(&room[-1].tail, 0, part->rate_hz, &voices->room_before, err) &&
           (voices->tone_before = tt_room_tone_create(&voices->room_before, 1, part->seed + tone_seed_step, err)) !=
               NULL;
}

static bool open_part(struct tt_voices *voices, struct tt_error *err)
{
    const struct tt_voice_part *part = &voices->parts[voices->at];
    struct tt_audio_info info;
    voices->reader = tt_reader_open(part->path, &info, err);
    if (!voices->reader)
        return false;
    if (info.channel_count > 2 || info.rate_hz != part->rate_hz || info.frame_count != part->frames)
        return tt_fail(err, TT_ERROR_INPUT, "%s: not as it was rendered; run again with --again", part->path);
    voices->channel_count = info.channel_count;
    if (part->limit_path && !(voices->limits = tt_limit_reader_open(part->limit_path, part->rate_hz, err)))
        return false;
    if (part->rate_hz != voices->rate_hz &&
        !(voices->resampler = tt_resampler_create(part->rate_hz, voices->rate_hz, err)))
        return false;
    if ((part->tone_before > 0 || part->tone_behind > 0) && !open_tones(voices, part, err))
        return false;
    voices->is_open = true;
    return true;
}

/* Fades the edge of a voice block out of or into made tone. from, to: places in the voice's frames that
 * samples[0..count) covers. */
static void blend_edges(struct tt_voices *voices, const struct tt_voice_part *part, int64_t from, float *samples,
                        size_t count)
{
    int64_t fade = tt_frames_from_ms(fade_ms, part->rate_hz);
    if (fade * 2 > part->frames)
        return;
    for (int side = 0; side < 2; side++) {
        if ((side == 0 ? part->tone_before : part->tone_behind) == 0)
            continue;
        int64_t edge = side == 0 ? 0 : part->frames - fade;
        int64_t first = from > edge ? from : edge,
                last = from + (int64_t)count < edge + fade ? from + (int64_t)count : edge + fade;
        if (first >= last)
            continue;
        tt_room_tone_make(side == 0 ? voices->tone_head : voices->tone_tail, 0, voices->other, (size_t)(last - first));
        for (int64_t i = first; i < last; i++) {
            /* Room tone and made tone have nothing in common: equal power. */
            double share = ((double)(i - edge) + 0.5) / (double)fade, angle = TT_PI / 2 * share;
            double own = side == 0 ? sin(angle) : cos(angle), made = side == 0 ? cos(angle) : sin(angle);
            samples[i - from] = (float)(own * samples[i - from] + made * voices->other[i - first]);
        }
    }
}

/* Made tone around a voice; in front of it the room of the part before goes over into its own at equal power. */
static void make_tone(struct tt_voices *voices, const struct tt_voice_part *part, float *samples, size_t count)
{
    bool is_before = voices->position < part->tone_before;
    tt_room_tone_make(is_before ? voices->tone_head : voices->tone_tail, 0, samples, count);
    if (!voices->tone_before || !is_before)
        return;
    tt_room_tone_make(voices->tone_before, 0, voices->other, count);
    for (size_t i = 0; i < count; i++) {
        double angle = TT_PI / 2 * ((double)(voices->position + (int64_t)i) + 0.5) / (double)part->tone_before;
        samples[i] = (float)(sin(angle) * samples[i] + cos(angle) * voices->other[i]);
    }
}

/* The next samples of the part under way at its own rate; 0 at its end. */
static int64_t read_part(struct tt_voices *voices, float *samples, size_t most, struct tt_error *err)
{
    const struct tt_voice_part *part = &voices->parts[voices->at];
    int64_t left = part_length(part) - voices->position;
    most = most < BLOCK_SAMPLES ? most : BLOCK_SAMPLES;
    if (left <= 0)
        return 0;
    int64_t in_voice = voices->position - part->tone_before, count;
    if (in_voice < 0 || in_voice >= part->frames) {
        count = in_voice < 0 ? -in_voice : left;
        count = count < (int64_t)most ? count : (int64_t)most;
        make_tone(voices, part, samples, (size_t)count);
    } else {
        count = part->frames - in_voice < (int64_t)most ? part->frames - in_voice : (int64_t)most;
        float *target = voices->channel_count == 1 ? samples : voices->interleaved;
        int64_t got = tt_reader_read(voices->reader, target, count, err);
        if (got < 0)
            return -1;
        if (got != count) {
            tt_fail(err, TT_ERROR_INPUT, "%s: shorter than it was rendered; run again with --again", part->path);
            return -1;
        }
        for (int64_t i = 0; voices->channel_count == 2 && i < count; i++)
            samples[i] = voices->interleaved[2 * i];
        if (voices->limits) {
            tt_limit_reader_restore(voices->limits, samples, (size_t)count);
            if (!tt_limit_reader_is_whole(voices->limits, err))
                return -1;
        }
        blend_edges(voices, part, in_voice, samples, (size_t)count);
    }
    voices->position += count;
    return count;
}

static int64_t read_resampled(struct tt_voices *voices, float *samples, size_t most, struct tt_error *err)
{
    for (;;) {
        if (voices->mono_used == voices->mono_count) {
            int64_t got = read_part(voices, voices->mono, BLOCK_SAMPLES, err);
            if (got < 0)
                return -1;
            voices->mono_count = (size_t)got;
            voices->mono_used = 0;
        }
        size_t used = 0, waiting = voices->mono_count - voices->mono_used;
        int64_t made = tt_resampler_run(voices->resampler, waiting ? voices->mono + voices->mono_used : NULL, waiting,
                                        &used, samples, most, err);
        voices->mono_used += used;
        if (made != 0 || waiting == 0)
            return made;
    }
}

static int64_t voices_read(void *context, float *samples, size_t most, struct tt_error *err)
{
    struct tt_voices *voices = context;
    while (voices->at < voices->count) {
        if (!voices->is_open && !open_part(voices, err))
            return -1;
        int64_t count =
            voices->resampler ? read_resampled(voices, samples, most, err) : read_part(voices, samples, most, err);
        if (count != 0)
            return count;
        close_part(voices);
        voices->at++;
    }
    return 0;
}

static bool voices_rewind(void *context, struct tt_error *err)
{
    (void)err;
    struct tt_voices *voices = context;
    close_part(voices);
    voices->at = 0;
    return true;
}

struct tt_source tt_voices_source(struct tt_voices *voices)
{
    return (struct tt_source){.context = voices, .read = voices_read, .rewind = voices_rewind};
}
