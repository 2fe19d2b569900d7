/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/flac_sink.h"

#include <sndfile.h>
#include <stdlib.h>

#include "audio/sndfile_lock.h"

struct tt_flac_sink {
    struct tt_publish *file;
    SNDFILE *sound;
    struct tt_error first; /* what went wrong inside a callback */
};

static sf_count_t get_filelen(void *user) { return tt_publish_size(((struct tt_flac_sink *)user)->file); }

static sf_count_t seek(sf_count_t offset, int whence, void *user)
{
    struct tt_flac_sink *sink = user;
    return tt_publish_seek(sink->file, offset, whence, &sink->first) ? tt_publish_tell(sink->file) : -1;
}

static sf_count_t read_back(void *data, sf_count_t count, void *user)
{
    struct tt_flac_sink *sink = user;
    int64_t got = tt_publish_read(sink->file, data, (size_t)count, &sink->first);
    return got > 0 ? got : 0;
}

static sf_count_t write_on(const void *data, sf_count_t count, void *user)
{
    struct tt_flac_sink *sink = user;
    return tt_publish_write(sink->file, data, (size_t)count, &sink->first) ? count : 0;
}

static sf_count_t tell(void *user) { return tt_publish_tell(((struct tt_flac_sink *)user)->file); }

struct tt_flac_sink *tt_flac_sink_open(struct tt_publish *file, int rate_hz, int channel_count, int bits,
                                       struct tt_error *err)
{
    SF_VIRTUAL_IO calls = {get_filelen, seek, read_back, write_on, tell};
    SF_INFO info = {.samplerate = rate_hz, .channels = channel_count};
    info.format = SF_FORMAT_FLAC | (bits == 16 ? SF_FORMAT_PCM_16 : SF_FORMAT_PCM_24);
    struct tt_flac_sink *sink = calloc(1, sizeof *sink);
    if (sink == NULL) {
        (void)tt_fail_memory(err);
        return NULL;
    }
    char why[160];
    sink->file = file;
    sink->sound = tt_sndfile_open(&calls, SFM_WRITE, sink, &info, why, sizeof why);
    if (sink->sound != NULL)
        return sink;
    if (tt_error_pass_on(&sink->first, err))
        (void)tt_fail(err, TT_ERROR_OUTPUT, "FLAC at %d Hz cannot be written: %s; set deliver.format to wav", rate_hz,
                      why);
    free(sink);
    return NULL;
}

bool tt_flac_sink_add(struct tt_flac_sink *sink, const int32_t *interleaved, size_t frame_count, struct tt_error *err)
{
    sf_count_t done = sf_writef_int(sink->sound, (const int *)interleaved, (sf_count_t)frame_count);
    if (!tt_error_pass_on(&sink->first, err))
        return false;
    return done == (sf_count_t)frame_count ||
           tt_fail(err, TT_ERROR_OUTPUT, "FLAC cannot be written: %s; set deliver.format to wav",
                   sf_strerror(sink->sound));
}

bool tt_flac_sink_finish(struct tt_flac_sink *sink, struct tt_error *err)
{
    int code = sf_close(sink->sound);
    if (tt_publish_size(sink->file) == 0) /* libFLAC begins its file with the first sample */
        (void)tt_fail(&sink->first, TT_ERROR_OUTPUT,
                      "a FLAC file without any sound cannot be written; set deliver.format to wav");
    bool is_whole = tt_error_pass_on(&sink->first, err);
    free(sink);
    if (is_whole && code != 0)
        return tt_fail(err, TT_ERROR_OUTPUT, "FLAC cannot be finished: %s; set deliver.format to wav",
                       sf_error_number(code));
    return is_whole;
}

void tt_flac_sink_abandon(struct tt_flac_sink *sink)
{
    if (sink != NULL)
        (void)tt_flac_sink_finish(sink, NULL);
}
