/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as a recording: its head, bext, chunks and sound. Decoders of libsndfile are met as well. */
#include "fuzz.h"
#include "fuzz_wav.h"

#include <math.h>

#include "audio/reader.h"
#include "audio/writer.h"

enum { BLOCK_FRAMES = 4096, MOST_BLOCKS = 64 };

static void read_sound(const char *path)
{
    struct tt_audio_info info;
    struct tt_error err = {0};
    struct tt_reader *reader = tt_reader_open(path, &info, &err);
    if (!reader) {
        if (err.kind == TT_OK || !err.message[0])
            abort();
        return;
    }
    if (info.rate_hz < 8000 || info.rate_hz > 192000 || info.channel_count < 1 ||
        info.channel_count > TT_MOST_CHANNELS || info.frame_count < 0)
        abort();
    float *block = malloc((size_t)BLOCK_FRAMES * (size_t)info.channel_count * sizeof *block);
    int64_t got = block ? 1 : 0;
    for (int i = 0; got > 0 && i < MOST_BLOCKS; i++)
        got = tt_reader_read(reader, block, BLOCK_FRAMES, &err);
    struct tt_bext bext;
    char *history = NULL;
    if (tt_reader_bext(reader, &bext, &history) && strlen(bext.description) >= sizeof bext.description)
        abort();
    free(history);
    free(block);
    tt_reader_close(reader);
}

static void read_voice(const char *path)
{
    struct tt_audio_info info;
    struct tt_error err = {0};
    struct tt_voice_reader *reader = tt_voice_reader_open(path, 0, &info, &err);
    static float block[BLOCK_FRAMES];
    int64_t got = 1;
    for (int i = 0; reader && got > 0 && i < MOST_BLOCKS; i++) {
        got = tt_voice_reader_read(reader, block, BLOCK_FRAMES, &err);
        for (int64_t k = 0; k < got; k++)
            if (!isfinite(block[k]))
                abort();
    }
    tt_voice_reader_close(reader);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    const char *path = fuzz_path("take.wav");
    fuzz_write(path, data, size);
    read_sound(path);
    read_voice(path);
    return 0;
}

#ifdef TT_GUIDED_FUZZING
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t most, unsigned int seed)
{
    return wav_change(data, size, most, seed * 2654435761u);
}
#endif
