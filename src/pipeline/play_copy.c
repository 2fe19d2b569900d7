/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/play_copy.h"

#include <stdlib.h>
#include <string.h>

#include "audio/writer.h"
#include "base/units.h"

enum { BLOCK_SAMPLES = 65536 };
static const double fade_ms = 5; /* into silence and out of it, within the span: too short for a word to be told by */

struct mute {
    int64_t at, fade;
    size_t first;
    int rate_hz;
};

/* Samples at..at+count of the sound: what lies in a span fades away and comes back at its end. */
static void silence(const struct tt_play_copy *copy, struct mute *mute, float *samples, int64_t count)
{
    for (size_t i = mute->first; i < copy->silent_count; i++) {
        int64_t start = tt_frames_from_ms((double)copy->silent[i].start_ms, mute->rate_hz),
                end = tt_frames_from_ms((double)copy->silent[i].end_ms, mute->rate_hz);
        if (start >= mute->at + count)
            break;
        if (end <= mute->at && i == mute->first)
            mute->first++;
        for (int64_t t = start > mute->at ? start : mute->at; t < end && t < mute->at + count; t++) {
            int64_t inside = t - start < end - 1 - t ? t - start : end - 1 - t;
            samples[t - mute->at] *= inside < mute->fade ? 1 - (float)(inside + 1) / (float)mute->fade : 0;
        }
    }
    mute->at += count;
}

static bool pass(const struct tt_play_copy *copy, struct tt_voice_reader *reader, int rate_hz, struct tt_writer *writer,
                 float *samples, struct tt_error *err)
{
    struct mute mute = {.rate_hz = rate_hz, .fade = tt_frames_from_ms(fade_ms, rate_hz)};
    for (;;) {
        int64_t count = tt_voice_reader_read(reader, samples, BLOCK_SAMPLES, err);
        if (count <= 0)
            return count == 0;
        for (int64_t i = 0; i < count; i++)
            samples[i] *= (float)copy->gain;
        silence(copy, &mute, samples, count);
        if (!tt_writer_add(writer, samples, (size_t)count, err))
            return false;
        if (copy->go_on && !copy->go_on(copy->context))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
    }
}

static bool make_folder_of(const char *path, struct tt_error *err)
{
    char *folder = strdup(path);
    if (!folder)
        return tt_fail_memory(err);
    *strrchr(folder, '/') = 0;
    bool ok = tt_folder_make(folder, err);
    free(folder);
    return ok;
}

bool tt_play_copy_write(const struct tt_play_copy *copy, struct tt_error *err)
{
    struct tt_audio_info info;
    struct tt_voice_reader *reader = tt_recording_open(&copy->recording, &info, err);
    if (!reader)
        return false;
    const struct tt_sound_format format = {TT_CONTAINER_FLAC, TT_BITS_16, TT_CHANNELS_MONO, info.rate_hz};
    float *samples = malloc(BLOCK_SAMPLES * sizeof *samples);
    bool ok = (samples || tt_fail_memory(err)) && make_folder_of(copy->path, err);
    struct tt_writer *writer = ok ? tt_writer_open(copy->path, &format, NULL, 0, NULL, err) : NULL;
    ok = writer && pass(copy, reader, info.rate_hz, writer, samples, err);
    if (ok)
        ok = tt_writer_commit(writer, err);
    else
        tt_writer_abandon(writer);
    free(samples);
    tt_voice_reader_close(reader);
    return ok;
}
