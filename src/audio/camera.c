/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/camera.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audio/camera_library.h"
#include "base/text.h"

struct tt_camera {
    char *path;
    AVFormatContext *file;
    AVCodecContext *decoder;
    SwrContext *unpacker;
    AVPacket *packet;
    AVFrame *frame;
    int stream, channel_count, rate_hz;
    int64_t position;         /* frames given or waiting, silence among them */
    int64_t tolerance_frames; /* what time stamps may be off by: their own fineness */
    float *waiting;           /* decoded, interleaved */
    int64_t waiting_count, waiting_used, waiting_room;
    int64_t silence; /* frames of it before what waits */
    bool has_sent_end, has_ended;
};

bool tt_camera_is_built_in(void) { return true; }

static bool fail_code(const char *path, int code, const char *what, struct tt_error *err)
{
    char words[AV_ERROR_MAX_STRING_SIZE] = "";
    av_strerror(code, words, sizeof words);
    return tt_fail(err, TT_ERROR_INPUT, "%s: %s: %s; copy it again from the camera", path, what, words);
}

static bool open_decoder(struct tt_camera *camera, struct tt_audio_info *info, struct tt_error *err)
{
    const AVCodec *codec = NULL;
    camera->stream = av_find_best_stream(camera->file, AVMEDIA_TYPE_AUDIO, -1, -1, &codec, 0);
    info->has_no_sound = camera->stream == AVERROR_STREAM_NOT_FOUND;
    if (info->has_no_sound)
        return tt_fail(err, TT_ERROR_INPUT, "%s: no sound in it, only pictures; take it out of the folder",
                       camera->path);
    if (camera->stream < 0 || codec == NULL)
        return tt_fail(
            err, TT_ERROR_INPUT,
            "%s: its sound is of a kind that is not known here; make a WAV of it with the camera's own program",
            camera->path);
    for (unsigned i = 0; i < camera->file->nb_streams; i++)
        camera->file->streams[i]->discard = (int)i == camera->stream ? AVDISCARD_DEFAULT : AVDISCARD_ALL;
    camera->decoder = avcodec_alloc_context3(codec);
    camera->packet = av_packet_alloc();
    camera->frame = av_frame_alloc();
    if (!camera->decoder || !camera->packet || !camera->frame)
        return tt_fail_memory(err);
    AVStream *stream = camera->file->streams[camera->stream];
    int code = avcodec_parameters_to_context(camera->decoder, stream->codecpar);
    camera->decoder->thread_count = 1;
    camera->decoder->pkt_timebase = stream->time_base;
    if (code >= 0)
        code = avcodec_open2(camera->decoder, codec, NULL);
    return code >= 0 || fail_code(camera->path, code, "its sound cannot be opened", err);
}

static bool open_unpacker(struct tt_camera *camera, struct tt_error *err)
{
    AVChannelLayout layout = camera->decoder->ch_layout, *in = &layout;
    AVChannelLayout plain = {0};
    av_channel_layout_default(&plain, camera->channel_count);
    if (layout.order == AV_CHANNEL_ORDER_UNSPEC)
        in = &plain;
    int code = swr_alloc_set_opts2(&camera->unpacker, in, AV_SAMPLE_FMT_FLT, camera->rate_hz, in,
                                   camera->decoder->sample_fmt, camera->rate_hz, 0, NULL);
    if (code >= 0)
        code = swr_init(camera->unpacker);
    av_channel_layout_uninit(&plain);
    return code >= 0 || fail_code(camera->path, code, "its sound cannot be unpacked", err);
}

/* Four months: a file that promises more is damaged, and what is in it counts. */
static const double most_seconds = 1e7;

static void describe(const struct tt_camera *camera, struct tt_audio_info *info)
{
    const AVStream *stream = camera->file->streams[camera->stream];
    *info = (struct tt_audio_info){
        .rate_hz = camera->rate_hz, .channel_count = camera->channel_count, .time_reference = -1};
    double seconds = stream->duration > 0         ? (double)stream->duration * av_q2d(stream->time_base)
                     : camera->file->duration > 0 ? (double)camera->file->duration / AV_TIME_BASE
                                                  : 0.0;
    info->frame_count = seconds < most_seconds ? (int64_t)(seconds * camera->rate_hz + 0.5) : 0;
    (void)snprintf(info->format_name, sizeof info->format_name, "%.16s, %.24s",
                   strncmp(camera->file->iformat->name, "mov", 3) == 0 ? "MP4" : "MKV",
                   avcodec_get_name(camera->decoder->codec_id));
    const AVDictionaryEntry *made =
        av_dict_get(camera->file->metadata, "creation_time", NULL, 0); /* "2026-04-12T14:00:00.000000Z" */
    if (made != NULL && strlen(made->value) >= 19)
        (void)snprintf(info->origination, sizeof info->origination, "%.10s %.8s", made->value, made->value + 11);
}

static bool open_file(struct tt_camera *camera, struct tt_audio_info *info, struct tt_error *err)
{
    /* "file:" keeps a name with a colon from being taken for another protocol. */
    char *url = tt_format("file:%s", camera->path);
    if (url == NULL)
        return tt_fail_memory(err);
    int code = avformat_open_input(&camera->file, url, NULL, NULL);
    free(url);
    if (code >= 0)
        code = avformat_find_stream_info(camera->file, NULL);
    if (code < 0)
        return fail_code(camera->path, code, "not a camera file that can be read", err);
    if (!open_decoder(camera, info, err))
        return false;
    camera->rate_hz = camera->decoder->sample_rate;
    camera->channel_count = camera->decoder->ch_layout.nb_channels;
    if (camera->rate_hz < TT_LEAST_RATE_HZ || camera->rate_hz > TT_MOST_RATE_HZ || camera->channel_count < 1 ||
        camera->channel_count > TT_MOST_CHANNELS)
        return tt_fail(err, TT_ERROR_INPUT, "%s: %d channels at %d Hz cannot be read; make a WAV of it", camera->path,
                       camera->channel_count, camera->rate_hz);
    const AVStream *stream = camera->file->streams[camera->stream];
    double tick = av_q2d(stream->time_base) * camera->rate_hz;
    camera->tolerance_frames = (int64_t)(2.0 * tick + 1.0);
    describe(camera, info);
    return open_unpacker(camera, err);
}

void tt_camera_close(struct tt_camera *camera)
{
    if (camera == NULL)
        return;
    swr_free(&camera->unpacker);
    av_frame_free(&camera->frame);
    av_packet_free(&camera->packet);
    avcodec_free_context(&camera->decoder);
    avformat_close_input(&camera->file);
    free(camera->waiting);
    free(camera->path);
    free(camera);
}

struct tt_camera *tt_camera_open(const char *path, struct tt_audio_info *info, struct tt_error *err)
{
    if (!tt_camera_library_load(path, err))
        return NULL;
    struct tt_camera *camera = calloc(1, sizeof *camera);
    if (camera == NULL) {
        (void)tt_fail_memory(err);
        return NULL;
    }
    av_log_set_level(AV_LOG_QUIET);
    camera->path = tt_copy_string(path);
    if (camera->path == NULL ? tt_fail_memory(err) : open_file(camera, info, err))
        return camera;
    tt_camera_close(camera);
    return NULL;
}

/* A damaged time stamp would be answered by years of silence. Nobody reads for an hour without a word (common practice,
 * no source). */
static const int64_t most_hole_s = 3600;
#define FARTHEST_STAMP (INT64_MAX / 4)

/* Where a decoded frame belongs, in frames of the file's time, which begins at 0, where the picture does: sound that
 * begins later has silence in front, and what lies before 0 (what an encoder needs to start) is none of the file's. */
static int64_t place_of(const struct tt_camera *camera)
{
    int64_t stamp = camera->frame->best_effort_timestamp;
    if (stamp == AV_NOPTS_VALUE)
        return camera->position;
    stamp = stamp < -FARTHEST_STAMP  ? -FARTHEST_STAMP
            : stamp > FARTHEST_STAMP ? FARTHEST_STAMP
                                     : stamp; /* sums of them stay in 64 bits */
    const AVStream *stream = camera->file->streams[camera->stream];
    return av_rescale_q(stamp, stream->time_base, (AVRational){1, camera->rate_hz});
}

/* Takes a decoded frame to where its time stamp puts it: holes become silence, what overlaps is left out. */
static bool take_frame(struct tt_camera *camera, struct tt_error *err)
{
    int64_t count = camera->frame->nb_samples, place = place_of(camera), skipped = 0;
    if (camera->frame->ch_layout.nb_channels != camera->channel_count || camera->frame->sample_rate != camera->rate_hz)
        return tt_fail(err, TT_ERROR_INPUT, "%s: its sound changes channels or rate on the way; make a WAV of it",
                       camera->path);
    if (count > camera->waiting_room) {
        float *waiting = realloc(camera->waiting, sizeof *waiting * (size_t)count * (size_t)camera->channel_count);
        if (waiting == NULL)
            return tt_fail_memory(err);
        camera->waiting = waiting;
        camera->waiting_room = count;
    }
    uint8_t *out = (uint8_t *)camera->waiting;
    int got =
        swr_convert(camera->unpacker, &out, (int)count, (const uint8_t **)camera->frame->extended_data, (int)count);
    if (got != (int)count)
        return tt_fail(err, TT_ERROR_INPUT, "%s: its sound cannot be unpacked; make a WAV of it", camera->path);
    if (place / camera->rate_hz > camera->position / camera->rate_hz + most_hole_s)
        return tt_fail(err, TT_ERROR_INPUT,
                       "%s: its time stamps jump more than an hour ahead at %" PRId64
                       " s: copy it again from the camera, or make a WAV of its sound",
                       camera->path, camera->position / camera->rate_hz);
    if (place > camera->position + camera->tolerance_frames)
        camera->silence = place - camera->position;
    else if (place < camera->position - camera->tolerance_frames)
        skipped = camera->position - place < count ? camera->position - place : count;
    camera->waiting_used = skipped;
    camera->waiting_count = count;
    camera->position += camera->silence + count - skipped;
    return true;
}

/* Gives the decoder one more packet, or tells it that there are none. */
static bool send_packet(struct tt_camera *camera, struct tt_error *err)
{
    int code = av_read_frame(camera->file, camera->packet);
    if (code == AVERROR_EOF) {
        camera->has_sent_end = true;
        (void)avcodec_send_packet(camera->decoder, NULL);
        return true;
    }
    if (code < 0)
        return fail_code(camera->path, code, "cannot be read on", err);
    if (camera->packet->stream_index == camera->stream)
        code = avcodec_send_packet(camera->decoder, camera->packet);
    av_packet_unref(camera->packet);
    /* A damaged packet leaves a hole, which its neighbours' time stamps keep open. */
    return code >= 0 || code == AVERROR_INVALIDDATA || fail_code(camera->path, code, "its sound is damaged", err);
}

/* The next decoded frame; has_ended without one. */
static bool decode_next(struct tt_camera *camera, struct tt_error *err)
{
    for (;;) {
        int code = avcodec_receive_frame(camera->decoder, camera->frame);
        if (code == 0) {
            bool is_taken = take_frame(camera, err);
            av_frame_unref(camera->frame);
            return is_taken;
        }
        if (code == AVERROR_EOF || (code == AVERROR(EAGAIN) && camera->has_sent_end)) {
            camera->has_ended = true;
            return true;
        }
        if (code != AVERROR(EAGAIN))
            return fail_code(camera->path, code, "its sound is damaged", err);
        if (!send_packet(camera, err))
            return false;
    }
}

int64_t tt_camera_read(struct tt_camera *camera, float *interleaved, int64_t frame_count, struct tt_error *err)
{
    const size_t width = (size_t)camera->channel_count;
    int64_t done = 0;
    while (done < frame_count) {
        int64_t left = frame_count - done, count;
        if (camera->silence > 0) {
            count = camera->silence < left ? camera->silence : left;
            memset(interleaved + (size_t)done * width, 0, sizeof *interleaved * (size_t)count * width);
            camera->silence -= count;
        } else if (camera->waiting_used < camera->waiting_count) {
            count = camera->waiting_count - camera->waiting_used < left ? camera->waiting_count - camera->waiting_used
                                                                        : left;
            memcpy(interleaved + (size_t)done * width, camera->waiting + (size_t)camera->waiting_used * width,
                   sizeof *interleaved * (size_t)count * width);
            camera->waiting_used += count;
        } else {
            if (camera->has_ended)
                break;
            if (!decode_next(camera, err))
                return -1;
            count = 0;
        }
        done += count;
    }
    return done;
}
