/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/reader.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "audio/samples.h"
#include "base/large.h"
#include "base/units.h"

enum { BLOCK_FRAMES = 16384 };

static const float clip_level = 32767.0f / 32768.0f; /* the greatest 16-bit value */
/* Around a clipped sample the safety channel is heard alone, then faded: an overdriven input needs a moment to recover.
 * Common practice, no source. */
static const double guard_ms = 2, fade_ms = 5;

struct tt_voice_reader {
    struct tt_recording recording;
    struct tt_reader *reader;
    size_t file;      /* 0: the first; else more_paths[file - 1] */
    int64_t *lengths; /* of the files that are not the last */
    int rate_hz;
    float *interleaved; /* BLOCK_FRAMES frames; NULL with one channel, which is read straight through */
    int channel_count;
    int channel;
    int64_t bad_samples;
    struct tt_step_levels own_levels, listener_levels; /* with a listener's channel */
    float *picked;                                     /* BLOCK_FRAMES samples of a channel, for these */
    /* With a safety channel: frames that were read ahead. */
    float *main, *safety;
    int64_t waiting, reach, guard;
    int64_t since_clip; /* frames since the last clipped one before those that wait */
    bool has_ended;
    int64_t given, mended_places, first_mended;
};

static const char *path_of(const struct tt_recording *recording, size_t file)
{
    return file == 0 ? recording->path : recording->more_paths[file - 1];
}

/* The headers of the files that go on, so that the length of all is known. */
static bool add_lengths(struct tt_voice_reader *voice, struct tt_audio_info *info, struct tt_error *err)
{
    const struct tt_recording *recording = &voice->recording;
    if (recording->more_count > 0 &&
        (voice->lengths = calloc(recording->more_count + 1, sizeof *voice->lengths)) == NULL)
        return tt_fail_memory(err);
    if (voice->lengths != NULL)
        voice->lengths[0] = info->frame_count;
    for (size_t i = 1; i <= recording->more_count; i++) {
        struct tt_audio_info more;
        struct tt_reader *reader = tt_reader_open(path_of(recording, i), &more, err);
        if (reader == NULL)
            return false;
        tt_reader_close(reader);
        if (more.rate_hz != info->rate_hz || more.channel_count != info->channel_count)
            return tt_fail(err, TT_ERROR_INPUT,
                           "%s: has another rate or other channels than the file that it goes on from; copy both again "
                           "from the recorder",
                           path_of(recording, i));
        voice->lengths[i] = more.frame_count;
        info->frame_count += more.frame_count;
        info->is_truncated = info->is_truncated || more.is_truncated;
    }
    return true;
}

static bool open_safety(struct tt_voice_reader *voice, struct tt_error *err)
{
    if (voice->recording.safety_number < 1 || voice->recording.safety_number > voice->channel_count)
        return true;
    voice->guard = tt_frames_from_ms(guard_ms, voice->rate_hz);
    voice->reach = voice->guard + tt_frames_from_ms(fade_ms, voice->rate_hz);
    voice->since_clip = voice->reach;
    voice->main = malloc(sizeof *voice->main * (size_t)(BLOCK_FRAMES + voice->reach));
    voice->safety = malloc(sizeof *voice->safety * (size_t)(BLOCK_FRAMES + voice->reach));
    return (voice->main && voice->safety) || tt_fail_memory(err);
}

static bool open_voice(struct tt_voice_reader *voice, struct tt_audio_info *info, struct tt_error *err)
{
    const char *path = voice->recording.path;
    voice->reader = tt_reader_open(path, info, err);
    if (voice->reader == NULL)
        return false;
    voice->channel_count = info->channel_count;
    voice->rate_hz = info->rate_hz;
    if (voice->channel >= info->channel_count)
        return tt_fail(err, TT_ERROR_INPUT, "%s: has %d channel%s, there is no channel %d; write auto in take.channel",
                       path, info->channel_count, info->channel_count == 1 ? "" : "s", voice->channel + 1);
    if (!add_lengths(voice, info, err) || !open_safety(voice, err))
        return false;
    if (info->channel_count == 1)
        return true;
    voice->interleaved = tt_alloc_lines(sizeof *voice->interleaved * BLOCK_FRAMES * (size_t)info->channel_count);
    const int listener = voice->recording.listener_number;
    bool has_listener = listener >= 1 && listener <= info->channel_count && voice->channel >= 0;
    if (has_listener)
        voice->picked = malloc(sizeof *voice->picked * BLOCK_FRAMES);
    return (voice->interleaved != NULL && (voice->picked != NULL || !has_listener)) || tt_fail_memory(err);
}

struct tt_voice_reader *tt_recording_open(const struct tt_recording *recording, struct tt_audio_info *info,
                                          struct tt_error *err)
{
    struct tt_voice_reader *voice = calloc(1, sizeof *voice);
    if (voice == NULL) {
        (void)tt_fail_memory(err);
        return NULL;
    }
    voice->recording = *recording;
    voice->channel = recording->channel;
    voice->first_mended = -1;
    if (open_voice(voice, info, err))
        return voice;
    tt_voice_reader_close(voice);
    return NULL;
}

struct tt_voice_reader *tt_voice_reader_open(const char *path, int channel, struct tt_audio_info *info,
                                             struct tt_error *err)
{
    struct tt_recording recording = {.path = path, .channel = channel};
    return tt_recording_open(&recording, info, err);
}

static bool add_levels(struct tt_voice_reader *voice, const float *interleaved, int64_t count, struct tt_error *err)
{
    const struct {
        int channel;
        struct tt_step_levels *levels;
    } both[] = {{voice->channel, &voice->own_levels}, {voice->recording.listener_number - 1, &voice->listener_levels}};
    for (size_t i = 0; voice->picked != NULL && i < 2; i++) {
        tt_samples_pick(interleaved, voice->channel_count, both[i].channel, voice->picked, (size_t)count);
        (void)tt_samples_mend(voice->picked, (size_t)count);
        if (!tt_step_levels_add(both[i].levels, tt_frames_from_ms(TT_OTHER_STEP_MS, voice->rate_hz), voice->picked,
                                (size_t)count, err))
            return false;
    }
    return true;
}

static bool open_next(struct tt_voice_reader *voice, struct tt_error *err)
{
    struct tt_audio_info info;
    struct tt_reader *next = tt_reader_open(path_of(&voice->recording, voice->file + 1), &info, err);
    if (next == NULL)
        return false;
    tt_reader_close(voice->reader);
    voice->reader = next;
    voice->file++;
    return (info.channel_count == voice->channel_count && info.rate_hz == voice->rate_hz) ||
           tt_fail(err, TT_ERROR_INPUT, "%s: has changed while it was worked on; run again",
                   path_of(&voice->recording, voice->file));
}

bool tt_voice_reader_skip(struct tt_voice_reader *voice, int64_t frames, struct tt_error *err)
{
    voice->given = frames;
    for (; voice->file < voice->recording.more_count && frames >= voice->lengths[voice->file];
         frames -= voice->lengths[voice->file - 1])
        if (!open_next(voice, err))
            return false;
    return tt_reader_skip(voice->reader, frames, err);
}

void tt_voice_reader_show_bytes(struct tt_voice_reader *voice, tt_bytes_seen seen, void *context)
{
    tt_reader_show_bytes(voice->reader, seen, context);
}

/* Interleaved frames out of whichever file they lie in; fewer only at the end of the last. */
static int64_t read_interleaved(struct tt_voice_reader *voice, float *block, int64_t count, struct tt_error *err)
{
    int64_t done = 0;
    for (;;) {
        int64_t got = tt_reader_read(voice->reader, block + done * voice->channel_count, count - done, err);
        if (got < 0)
            return -1;
        done += got;
        if (done == count || voice->file == voice->recording.more_count)
            return add_levels(voice, block, done, err) ? done : -1;
        if (!open_next(voice, err))
            return -1;
    }
}

/* ---- where the channel clips ---- */

/* Fills up what waits; false on error. */
static bool read_ahead(struct tt_voice_reader *voice, int64_t wanted, struct tt_error *err)
{
    while (!voice->has_ended && voice->waiting < wanted + voice->reach) {
        int64_t most = wanted + voice->reach - voice->waiting;
        most = most < BLOCK_FRAMES ? most : BLOCK_FRAMES;
        int64_t got = read_interleaved(voice, voice->interleaved, most, err);
        if (got < 0)
            return false;
        tt_samples_pick(voice->interleaved, voice->channel_count, voice->channel, voice->main + voice->waiting,
                        (size_t)got);
        tt_samples_pick(voice->interleaved, voice->channel_count, voice->recording.safety_number - 1,
                        voice->safety + voice->waiting, (size_t)got);
        voice->bad_samples += tt_samples_mend(voice->main + voice->waiting, (size_t)got);
        (void)tt_samples_mend(voice->safety + voice->waiting, (size_t)got);
        voice->waiting += got;
        voice->has_ended = got < most;
    }
    return true;
}

static int64_t next_clip(const struct tt_voice_reader *voice, int64_t from)
{
    while (from < voice->waiting && fabsf(voice->main[from]) < clip_level)
        from++;
    return from;
}

static void count_mended(struct tt_voice_reader *voice, int64_t at)
{
    voice->mended_places++;
    if (voice->first_mended < 0)
        voice->first_mended = voice->given + at;
}

/* The same sound at the same level: a straight fade. */
static void mix(struct tt_voice_reader *voice, float *samples, int64_t count)
{
    const double gain = voice->recording.safety_gain, fade = (double)(voice->reach - voice->guard);
    int64_t next = next_clip(voice, 0);
    for (int64_t i = 0; i < count; i++) {
        if (next < i)
            next = next_clip(voice, i);
        if (next == i && voice->since_clip >= voice->reach)
            count_mended(voice, i);
        voice->since_clip = next == i ? 0 : voice->since_clip + 1;
        int64_t ahead = next < voice->waiting ? next - i : voice->reach,
                distance = voice->since_clip < ahead ? voice->since_clip : ahead;
        samples[i] = voice->main[i];
        if (distance >= voice->reach)
            continue;
        double share = distance <= voice->guard ? 1.0 : (double)(voice->reach - distance) / fade;
        samples[i] = (float)(share * gain * (double)voice->safety[i] + (1.0 - share) * (double)voice->main[i]);
    }
}

static int64_t read_mended(struct tt_voice_reader *voice, float *samples, int64_t wanted, struct tt_error *err)
{
    if (!read_ahead(voice, wanted, err))
        return -1;
    int64_t count = voice->waiting < wanted ? voice->waiting : wanted;
    mix(voice, samples, count);
    voice->waiting -= count;
    voice->given += count;
    memmove(voice->main, voice->main + count, sizeof *voice->main * (size_t)voice->waiting);
    memmove(voice->safety, voice->safety + count, sizeof *voice->safety * (size_t)voice->waiting);
    return count;
}

int64_t tt_voice_reader_mended(const struct tt_voice_reader *voice, int64_t *first_frame)
{
    *first_frame = voice->first_mended;
    return voice->mended_places;
}

/* ---- reading ---- */

static int64_t read_block(struct tt_voice_reader *voice, float *samples, int64_t wanted, struct tt_error *err)
{
    if (voice->safety != NULL)
        return read_mended(voice, samples, wanted, err);
    float *block = voice->interleaved != NULL ? voice->interleaved : samples;
    int64_t got = read_interleaved(voice, block, wanted, err);
    if (got < 0)
        return -1;
    if (voice->interleaved != NULL)
        tt_samples_pick(block, voice->channel_count, voice->channel, samples, (size_t)got);
    voice->bad_samples += tt_samples_mend(samples, (size_t)got);
    return got;
}

int64_t tt_voice_reader_read(struct tt_voice_reader *voice, float *samples, int64_t count, struct tt_error *err)
{
    int64_t done = 0;
    while (done < count) {
        int64_t wanted = count - done < BLOCK_FRAMES ? count - done : BLOCK_FRAMES;
        int64_t got = read_block(voice, samples + done, wanted, err);
        if (got < 0)
            return -1;
        done += got;
        if (got < wanted)
            break;
    }
    return done;
}

bool tt_voice_reader_bext(struct tt_voice_reader *voice, struct tt_bext *bext, char **coding_history)
{
    if (voice->file == 0)
        return tt_reader_bext(voice->reader, bext, coding_history);
    struct tt_audio_info info;
    struct tt_reader *first = tt_reader_open(voice->recording.path, &info, NULL);
    if (first == NULL)
        return false;
    bool has_it = tt_reader_bext(first, bext, coding_history);
    tt_reader_close(first);
    return has_it;
}

struct tt_span_frames *tt_voice_reader_other_voice(const struct tt_voice_reader *voice, size_t *count,
                                                   struct tt_error *err)
{
    return tt_other_voice_find(&voice->own_levels, &voice->listener_levels, count, err);
}

int64_t tt_voice_reader_bad_samples(const struct tt_voice_reader *voice) { return voice->bad_samples; }

void tt_voice_reader_close(struct tt_voice_reader *voice)
{
    if (voice == NULL)
        return;
    tt_reader_close(voice->reader);
    free(voice->interleaved);
    free(voice->lengths);
    free(voice->main);
    free(voice->safety);
    free(voice->picked);
    tt_step_levels_free(&voice->own_levels);
    tt_step_levels_free(&voice->listener_levels);
    free(voice);
}
