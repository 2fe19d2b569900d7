/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/reader.h"

#include <stdlib.h>

#include "audio/samples.h"

enum { BLOCK_FRAMES = 16384 };

struct tt_voice_reader {
    struct tt_reader *reader;
    float *interleaved; /* BLOCK_FRAMES frames; NULL with one channel, which is read straight through */
    int channel_count;
    int channel;
    int64_t bad_samples;
};

static bool open_voice(struct tt_voice_reader *voice, const char *path, struct tt_audio_info *info, struct tt_error *err)
{
    voice->reader = tt_reader_open(path, info, err);
    if (voice->reader == NULL)
        return false;
    voice->channel_count = info->channel_count;
    if (voice->channel >= info->channel_count)
        return tt_fail(err, TT_ERROR_INPUT, "%s: has %d channel%s, there is no channel %d; set [take] channel to auto", path,
                       info->channel_count, info->channel_count == 1 ? "" : "s", voice->channel + 1);
    if (info->channel_count == 1)
        return true;
    voice->interleaved = malloc(sizeof *voice->interleaved * BLOCK_FRAMES * (size_t)info->channel_count);
    return voice->interleaved != NULL || tt_fail_memory(err);
}

struct tt_voice_reader *tt_voice_reader_open(const char *path, int channel, struct tt_audio_info *info, struct tt_error *err)
{
    struct tt_voice_reader *voice = calloc(1, sizeof *voice);
    if (voice == NULL) {
        (void)tt_fail_memory(err);
        return NULL;
    }
    voice->channel = channel;
    if (open_voice(voice, path, info, err))
        return voice;
    tt_voice_reader_close(voice);
    return NULL;
}

int64_t tt_voice_reader_read(struct tt_voice_reader *voice, float *samples, int64_t count, struct tt_error *err)
{
    int64_t done = 0;
    while (done < count) {
        int64_t wanted = count - done < BLOCK_FRAMES ? count - done : BLOCK_FRAMES;
        float *block = voice->interleaved != NULL ? voice->interleaved : samples + done;
        int64_t got = tt_reader_read(voice->reader, block, wanted, err);
        if (got < 0)
            return -1;
        if (voice->interleaved != NULL)
            tt_samples_pick(block, voice->channel_count, voice->channel, samples + done, (size_t)got);
        voice->bad_samples += tt_samples_mend(samples + done, (size_t)got);
        done += got;
        if (got < wanted)
            break;
    }
    return done;
}

bool tt_voice_reader_bext(struct tt_voice_reader *reader, struct tt_bext *bext, char **coding_history)
{
    return tt_reader_bext(reader->reader, bext, coding_history);
}

int64_t tt_voice_reader_bad_samples(const struct tt_voice_reader *voice)
{
    return voice->bad_samples;
}

void tt_voice_reader_close(struct tt_voice_reader *voice)
{
    if (voice == NULL)
        return;
    tt_reader_close(voice->reader);
    free(voice->interleaved);
    free(voice);
}
