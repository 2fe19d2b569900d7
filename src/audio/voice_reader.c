/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/reader.h"

#include <stdlib.h>

#include "audio/safety.h"
#include "audio/samples.h"
#include "base/large.h"
#include "base/units.h"

enum { BLOCK_FRAMES = 16384 };

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
    struct tt_safety *safety;                          /* with a safety channel: mends the other from it */
    bool has_ended;
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
    if (!add_lengths(voice, info, err))
        return false;
    const int safety = voice->recording.safety_number;
    if (safety >= 1 && safety <= voice->channel_count) {
        const struct tt_safety_plan plan = {.rate_hz = voice->rate_hz,
                                            .channel_count = voice->channel_count,
                                            .channel = voice->channel,
                                            .safety_channel = safety - 1,
                                            .gain = voice->recording.safety_gain,
                                            .most_frames = BLOCK_FRAMES};
        if (!(voice->safety = tt_safety_open(&plan, err)))
            return false;
    }
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
    if (voice->safety)
        tt_safety_skip(voice->safety, frames);
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

static int64_t read_mended(struct tt_voice_reader *voice, float *samples, int64_t wanted, struct tt_error *err)
{
    for (int64_t most; !voice->has_ended && (most = tt_safety_wants(voice->safety, wanted)) > 0;) {
        int64_t got = read_interleaved(voice, voice->interleaved, most, err);
        if (got < 0)
            return -1;
        voice->bad_samples += tt_safety_add(voice->safety, voice->interleaved, got);
        voice->has_ended = got < most;
    }
    return tt_safety_take(voice->safety, samples, wanted);
}

int64_t tt_voice_reader_mended(const struct tt_voice_reader *voice, int64_t *first_frame)
{
    *first_frame = -1;
    return voice->safety ? tt_safety_mended(voice->safety, first_frame) : 0;
}

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
    tt_safety_close(voice->safety);
    free(voice->picked);
    tt_step_levels_free(&voice->own_levels);
    tt_step_levels_free(&voice->listener_levels);
    free(voice);
}
