/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/reader.h"

#include <errno.h>
#include <fcntl.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "audio/bext_read.h"
#include "audio/camera.h"
#include "audio/formats.h"
#include "audio/pcm.h"
#include "audio/view.h"
#include "audio/writer.h"
#include "base/text.h"

enum {
    REASON_CHARS = 160,
    COUNT_FRAMES = 4096, /* a block while counting what a header does not tell */
    PACKED_BYTES = 3 * TT_MOST_CHANNELS * 256
};

struct tt_reader {
    int fd;
    struct tt_view view;
    struct tt_data_promise promise;
    SNDFILE *file;
    struct tt_camera *camera; /* in place of all the above for camera and phone files */
    char *path;
    int rate_hz;
    int channel_count;
    int64_t position;    /* frames read so far */
    int64_t exact_count; /* frames that must be there; -1 where the header only estimates */
    bool is_truncated;
    unsigned char
        *packed; /* a block of a usual WAV as it lies in the file: the library reads 8 KiB at a time; NULL: all else */
};

/* O_NONBLOCK: a FIFO that is named like a sound file must not hold everything up. */
static bool open_regular(struct tt_reader *reader, struct tt_error *err)
{
    reader->fd = open(reader->path, O_RDONLY | O_CLOEXEC | O_NONBLOCK | O_NOCTTY);
    if (reader->fd < 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be opened", reader->path);
    struct stat status;
    if (fstat(reader->fd, &status) != 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be examined", reader->path);
    if (S_ISDIR(status.st_mode))
        return tt_fail(err, TT_ERROR_INPUT, "%s: is a folder, not a sound file; name a file, or rename the folder",
                       reader->path);
    if (!S_ISREG(status.st_mode))
        return tt_fail(err, TT_ERROR_INPUT, "%s: is a pipe or device, not a sound file; save the sound as a file",
                       reader->path);
    if (status.st_size == 0)
        return tt_fail(err, TT_ERROR_INPUT,
                       "%s: empty file; copy it again from the recorder, or take it out of the folder", reader->path);
    reader->promise = tt_data_promise_read(reader->fd, (int64_t)status.st_size);
    reader->view = tt_view_make(reader->fd, (int64_t)status.st_size, &reader->promise);
    return true;
}

static bool open_sound(struct tt_reader *reader, SF_INFO *sound, struct tt_error *err)
{
    char why[REASON_CHARS];
    reader->file = tt_view_open(&reader->view, sound, why, sizeof why);
    if (reader->file != NULL)
        return true;
    if (reader->view.failed_errno != 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, reader->view.failed_errno, "%s: cannot be read", reader->path);
    if (strstr(why, "Internal error") != NULL) /* what the library says of a rate of zero */
        return tt_fail(err, TT_ERROR_INPUT,
                       "%s: the header is damaged: it tells no sample rate; copy it again from the recorder",
                       reader->path);
    size_t length = strlen(why);
    if (length > 0 && why[length - 1] == '.')
        why[length - 1] = '\0';
    return tt_fail(err, TT_ERROR_INPUT,
                   "%s: not a sound file: %s; save it anew as WAV or FLAC, or take it out of the folder", reader->path,
                   why);
}

static bool check_header(const struct tt_reader *reader, const SF_INFO *sound, struct tt_error *err)
{
    if (sound->channels < 1)
        return tt_fail(err, TT_ERROR_INPUT, "%s: the header names no channel; save it anew as WAV", reader->path);
    if (sound->channels > TT_MOST_CHANNELS)
        return tt_fail(err, TT_ERROR_INPUT, "%s: %d channels, at most %d can be read; save the voice's channel alone",
                       reader->path, sound->channels, TT_MOST_CHANNELS);
    if (sound->samplerate < TT_LEAST_RATE_HZ || sound->samplerate > TT_MOST_RATE_HZ)
        return tt_fail(err, TT_ERROR_INPUT,
                       "%s: a sample rate of %d Hz, only %d to %d Hz can be read; save it at 48000 Hz", reader->path,
                       sound->samplerate, (int)TT_LEAST_RATE_HZ, (int)TT_MOST_RATE_HZ);
    if (sound->frames < 0)
        return tt_fail(err, TT_ERROR_INPUT, "%s: the header gives a length below zero; save it anew as WAV",
                       reader->path);
    return true;
}

/* Frames that decode, for headers of live streams that do not say. */
static bool count_frames(struct tt_reader *reader, int64_t *count, struct tt_error *err)
{
    float *block = malloc(sizeof *block * COUNT_FRAMES * (size_t)reader->channel_count);
    if (block == NULL)
        return tt_fail_memory(err);
    *count = 0;
    for (sf_count_t got; (got = sf_readf_float(reader->file, block, COUNT_FRAMES)) > 0;)
        *count += got;
    free(block);
    return true;
}

/* A cut FLAC file shows only at its end: the last frame is asked for. */
static bool flac_lacks_its_end(struct tt_reader *reader, int64_t frame_count)
{
    float frame[TT_MOST_CHANNELS];
    return frame_count > 0 &&
           (sf_seek(reader->file, frame_count - 1, SEEK_SET) < 0 || sf_readf_float(reader->file, frame, 1) != 1);
}

/* Uncompressed sound: the chunk sizes against the size of the file. */
static void check_promise(const struct tt_reader *reader, const SF_INFO *sound, struct tt_audio_info *info)
{
    const struct tt_data_promise *promise = &reader->promise;
    const bool is_known = promise->size_field_bytes > 0;
    info->is_truncated = is_known && !promise->is_kept && !promise->is_left_open;
    int64_t frame_bytes = (int64_t)tt_format_sample_bytes(sound->format) * sound->channels;
    if (frame_bytes == 0)
        return;
    int64_t bytes_there = reader->view.file_size - (is_known ? promise->data_offset : 0);
    int64_t frames_there = bytes_there > 0 ? bytes_there / frame_bytes : 0;
    if (info->frame_count > frames_there) {
        info->is_truncated = info->is_truncated || !is_known || !promise->is_left_open;
        info->frame_count = frames_there;
    }
}

/* Settles how many frames there are. The file is opened anew where it was read from, so that reading starts untouched.
 */
static bool settle_length(struct tt_reader *reader, SF_INFO *sound, struct tt_audio_info *info, struct tt_error *err)
{
    check_promise(reader, sound, info);
    bool is_flac = (sound->format & SF_FORMAT_TYPEMASK) == SF_FORMAT_FLAC;
    bool is_unknown = sound->frames > SF_COUNT_MAX / TT_MOST_CHANNELS / 8 && tt_format_sample_bytes(sound->format) == 0;
    if (is_unknown && !count_frames(reader, &info->frame_count, err))
        return false;
    if (is_flac && !is_unknown)
        info->is_truncated = flac_lacks_its_end(reader, info->frame_count);
    if (is_flac || is_unknown) {
        (void)sf_close(reader->file);
        if (!open_sound(reader, sound, err))
            return false;
    }
    reader->is_truncated = info->is_truncated;
    reader->exact_count = tt_format_counts_exactly(sound->format) && !info->is_truncated ? info->frame_count : -1;
    return true;
}

static bool open_camera(struct tt_reader *reader, struct tt_audio_info *info, struct tt_error *err)
{
    struct stat status;
    if (stat(reader->path, &status) == 0 && !S_ISREG(status.st_mode))
        return tt_fail(err, TT_ERROR_INPUT,
                       "%s: is a folder or a device, not a sound file; rename it, or take it out of the folder",
                       reader->path);
    reader->camera = tt_camera_open(reader->path, info, err);
    if (reader->camera == NULL)
        return false;
    reader->rate_hz = info->rate_hz;
    reader->channel_count = info->channel_count;
    reader->exact_count = -1;
    return true;
}

static bool open_reader(struct tt_reader *reader, struct tt_audio_info *info, struct tt_error *err)
{
    SF_INFO sound = {0};
    if (tt_is_camera_name(tt_path_name(reader->path)))
        return open_camera(reader, info, err);
    if (!open_regular(reader, err) || !open_sound(reader, &sound, err) || !check_header(reader, &sound, err))
        return false;
    reader->rate_hz = info->rate_hz = sound.samplerate;
    reader->channel_count = info->channel_count = sound.channels;
    info->frame_count = sound.frames;
    tt_format_describe(sound.format, info);
    tt_bext_describe(reader->file, info);
    if (tt_format_is_little_endian_24(sound.format) && (reader->packed = malloc(PACKED_BYTES)) == NULL)
        return tt_fail_memory(err);
    return settle_length(reader, &sound, info, err);
}

struct tt_reader *tt_reader_open(const char *path, struct tt_audio_info *info, struct tt_error *err)
{
    *info = (struct tt_audio_info){.time_reference = -1};
    struct tt_reader *reader = calloc(1, sizeof *reader);
    if (reader == NULL) {
        (void)tt_fail_memory(err);
        return NULL;
    }
    reader->fd = -1;
    reader->path = tt_copy_string(path);
    if (reader->path == NULL ? tt_fail_memory(err) : open_reader(reader, info, err))
        return reader;
    tt_reader_close(reader);
    return NULL;
}

/* reason is an errno, or 0 with the reason in words. */
static int64_t fail_at(const struct tt_reader *reader, int reason, const char *words, struct tt_error *err)
{
    char time[TT_TIME_CHARS];
    tt_time_format((int64_t)(1000.0 * (double)reader->position / reader->rate_hz), time);
    if (reason != 0)
        (void)tt_fail_errno(err, TT_ERROR_INPUT, reason, "%s: cannot be read at %s", reader->path, time);
    else
        (void)tt_fail(err, TT_ERROR_INPUT, "%s: cannot be read at %s: %s; copy it again from the recorder",
                      reader->path, time, words);
    return -1;
}

/* FLAC that lost its thread goes on behind the fault as if nothing were missing: looked for after every read. */
static bool has_fault(const struct tt_reader *reader, bool is_short)
{
    return !reader->is_truncated && (is_short || reader->exact_count >= 0) && sf_error(reader->file) != SF_ERR_NO_ERROR;
}

static sf_count_t read_frames(struct tt_reader *reader, float *interleaved, sf_count_t frame_count)
{
    if (reader->packed == NULL)
        return sf_readf_float(reader->file, interleaved, frame_count);
    const sf_count_t frame_bytes = 3 * (sf_count_t)reader->channel_count, most = PACKED_BYTES / frame_bytes;
    sf_count_t got =
        sf_read_raw(reader->file, reader->packed, (frame_count < most ? frame_count : most) * frame_bytes) /
        frame_bytes;
    if (got > 0)
        tt_pcm_unpack_24(reader->packed, interleaved, (size_t)(got * reader->channel_count));
    return got;
}

int64_t tt_reader_read(struct tt_reader *reader, float *interleaved, int64_t frame_count, struct tt_error *err)
{
    int64_t done = 0;
    if (reader->camera != NULL)
        return tt_camera_read(reader->camera, interleaved, frame_count, err);
    while (done < frame_count) {
        sf_count_t got = read_frames(reader, interleaved + done * reader->channel_count, frame_count - done);
        if (reader->view.failed_errno != 0)
            return fail_at(reader, reader->view.failed_errno, "", err);
        if (has_fault(reader, got <= 0))
            return fail_at(reader, 0, "the sound is damaged there", err);
        if (got <= 0)
            break;
        done += got;
        reader->position += got;
    }
    if (done < frame_count && reader->position < reader->exact_count)
        return fail_at(reader, 0, "it ends early, as if it had changed while being read", err);
    return done;
}

static bool read_over(struct tt_reader *reader, int64_t frames, struct tt_error *err)
{
    float *block = malloc(sizeof *block * COUNT_FRAMES * (size_t)reader->channel_count);
    if (block == NULL)
        return tt_fail_memory(err);
    int64_t got = 0;
    while (frames > 0 && (got = tt_reader_read(reader, block, frames < COUNT_FRAMES ? frames : COUNT_FRAMES, err)) > 0)
        frames -= got;
    free(block);
    return got >= 0;
}

bool tt_reader_skip(struct tt_reader *reader, int64_t frames, struct tt_error *err)
{
    if (frames <= 0)
        return true;
    /* Lossy coders know their places only by what they decoded before. */
    if (reader->camera != NULL || reader->exact_count < 0)
        return read_over(reader, frames, err);
    const int64_t to =
        reader->position + frames < reader->exact_count ? reader->position + frames : reader->exact_count;
    if (sf_seek(reader->file, to, SEEK_SET) != to)
        return fail_at(reader, reader->view.failed_errno, "it cannot be gone on from there", err) >= 0;
    reader->position = to;
    return true;
}

bool tt_reader_bext(struct tt_reader *reader, struct tt_bext *bext, char **coding_history)
{
    *bext = (struct tt_bext){0};
    *coding_history = NULL;
    return reader->camera == NULL && tt_bext_read(reader->file, bext, coding_history);
}

void tt_reader_show_bytes(struct tt_reader *reader, tt_bytes_seen seen, void *context)
{
    reader->view.seen = seen;
    reader->view.seen_context = context;
}

void tt_reader_close(struct tt_reader *reader)
{
    if (reader == NULL)
        return;
    if (reader->file != NULL)
        (void)sf_close(reader->file);
    tt_camera_close(reader->camera);
    if (reader->fd >= 0)
        (void)close(reader->fd);
    free(reader->packed);
    free(reader->path);
    free(reader);
}
