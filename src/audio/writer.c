/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/writer.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audio/flac_sink.h"
#include "audio/pcm.h"
#include "audio/samples.h"
#include "audio/wav_head.h"
#include "base/file.h"
#include "base/large.h"

enum {
    BLOCK_FRAMES = 16384,
    DIRECT_FRAMES = 1024, /* so many at once need not be gathered first */
    MOST_CHANNELS = 2,
    MOST_BLOCK_BYTES = BLOCK_FRAMES * MOST_CHANNELS * (int)sizeof(float),
    WRITE_BYTES = 1 << 18 /* written at once, where a multiple of it begins in the file: pages are then filled whole */
};

/* What one block goes through; made once. */
struct blocks {
    float pending[BLOCK_FRAMES];
    float noise[BLOCK_FRAMES];
    int32_t values[BLOCK_FRAMES];
    int32_t interleaved[BLOCK_FRAMES * MOST_CHANNELS];
    unsigned char bytes[WRITE_BYTES + MOST_BLOCK_BYTES];
};

struct tt_writer {
    struct tt_publish *file;
    struct tt_flac_sink *flac; /* NULL: WAV or RF64 */
    struct tt_wav_head head;
    enum tt_bits bits;
    int channel_count;
    struct blocks *blocks;
    size_t pending_count;
    size_t byte_count;    /* made, and not written */
    uint64_t frame_count; /* written */
    uint64_t dither_state;
    struct tt_error first; /* a failed add fails the commit, too */
};

const char *tt_container_ending(enum tt_container container)
{
    return container == TT_CONTAINER_FLAC ? ".flac" : ".wav";
}

static bool open_container(struct tt_writer *writer, const struct tt_sound_format *format,
                           const struct tt_label *labels, size_t label_count, const struct tt_bext *bext,
                           struct tt_error *err)
{
    if (format->container == TT_CONTAINER_FLAC) {
        if (writer->bits == TT_BITS_32F)
            writer->bits = TT_BITS_24; /* FLAC holds whole numbers only */
        writer->flac = tt_flac_sink_open(writer->file, format->rate_hz, writer->channel_count,
                                         writer->bits == TT_BITS_16 ? 16 : 24, err);
        return writer->flac != NULL;
    }
    return tt_wav_head_make(&writer->head, format, labels, label_count, bext, err) &&
           tt_publish_write(writer->file, writer->head.bytes.data, writer->head.bytes.length, err);
}

struct tt_writer *tt_writer_open(const char *path, const struct tt_sound_format *format, const struct tt_label *labels,
                                 size_t label_count, const struct tt_bext *bext, struct tt_error *err)
{
    struct tt_writer *writer = calloc(1, sizeof *writer);
    if (writer == NULL || (writer->blocks = tt_alloc_lines(sizeof *writer->blocks)) == NULL) {
        free(writer);
        (void)tt_fail_memory(err);
        return NULL;
    }
    writer->bits = format->bits;
    writer->channel_count = format->channels == TT_CHANNELS_DUAL ? 2 : 1;
    writer->dither_state = TT_DITHER_START;
    writer->file = tt_publish_open(path, err);
    if (writer->file != NULL && open_container(writer, format, labels, label_count, bext, err))
        return writer;
    tt_writer_abandon(writer);
    return NULL;
}

static bool write_flac(struct tt_writer *writer, size_t count, struct tt_error *err)
{
    struct blocks *blocks = writer->blocks;
    const int copies = writer->channel_count;
    const uint32_t lift = writer->bits == TT_BITS_16 ? 65536 : 256; /* into the upper bits */
    for (size_t i = 0; i < count; i++)
        for (int c = 0; c < copies; c++)
            blocks->interleaved[i * (size_t)copies + (size_t)c] = (int32_t)((uint32_t)blocks->values[i] * lift);
    return tt_flac_sink_add(writer->flac, blocks->interleaved, count, err);
}

/* What has been made up to the last multiple of WRITE_BYTES in the file; all: to its end. */
static bool write_bytes(struct tt_writer *writer, bool all, struct tt_error *err)
{
    unsigned char *bytes = writer->blocks->bytes;
    while (writer->byte_count > 0) {
        const size_t room = WRITE_BYTES - (size_t)(tt_publish_tell(writer->file) % WRITE_BYTES);
        const size_t part = writer->byte_count < room ? writer->byte_count : room;
        if (part < room && !all)
            return true;
        if (!tt_publish_write(writer->file, bytes, part, err))
            return false;
        writer->byte_count -= part;
        memmove(bytes, bytes + part, writer->byte_count);
    }
    return true;
}

static bool write_block(struct tt_writer *writer, const float *samples, size_t count, struct tt_error *err)
{
    struct blocks *blocks = writer->blocks;
    unsigned char *bytes = blocks->bytes + writer->byte_count;
    const int copies = writer->channel_count;
    size_t sample_bytes = sizeof(float);
    writer->frame_count += count;
    if (writer->bits == TT_BITS_32F) {
        memmove(blocks->pending, samples, count * sizeof *samples);
        (void)tt_samples_mend(blocks->pending, count);
        tt_pcm_pack_float(blocks->pending, bytes, count, copies);
    } else if (writer->bits == TT_BITS_24) {
        sample_bytes = 3;
        tt_pcm_to_24(samples, blocks->values, count);
        if (writer->flac == NULL)
            tt_pcm_pack_24(blocks->values, bytes, count, copies);
    } else {
        sample_bytes = 2;
        tt_pcm_to_16(samples, blocks->values, blocks->noise, count, &writer->dither_state);
        if (writer->flac == NULL)
            tt_pcm_pack_16(blocks->values, bytes, count, copies);
    }
    if (writer->flac != NULL)
        return write_flac(writer, count, err);
    writer->byte_count += count * (size_t)copies * sample_bytes;
    return write_bytes(writer, false, err);
}

static bool write_pending(struct tt_writer *writer, struct tt_error *err)
{
    const size_t count = writer->pending_count;
    writer->pending_count = 0;
    return count == 0 || write_block(writer, writer->blocks->pending, count, err);
}

/* Many at once are written as they are, few are gathered. */
static bool add_part(struct tt_writer *writer, const float *samples, size_t count, struct tt_error *err)
{
    if (count >= DIRECT_FRAMES)
        return write_pending(writer, err) && write_block(writer, samples, count, err);
    memcpy(writer->blocks->pending + writer->pending_count, samples, count * sizeof *samples);
    writer->pending_count += count;
    return writer->pending_count < BLOCK_FRAMES - DIRECT_FRAMES || write_pending(writer, err);
}

bool tt_writer_add(struct tt_writer *writer, const float *samples, size_t count, struct tt_error *err)
{
    while (count > 0 && writer->first.kind == TT_OK) {
        const size_t part = count < BLOCK_FRAMES ? count : BLOCK_FRAMES;
        (void)add_part(writer, samples, part, &writer->first);
        samples += part;
        count -= part;
    }
    return tt_error_pass_on(&writer->first, err);
}

void tt_writer_set_loudness(struct tt_writer *writer, const struct tt_bext_loudness *loudness)
{
    tt_wav_head_set_loudness(&writer->head, loudness);
}

/* An odd number of bytes gets one more, then the head is written over its place holder. */
static bool finish_wav(struct tt_writer *writer, struct tt_error *err)
{
    struct tt_wav_head *head = &writer->head;
    if ((writer->frame_count * head->frame_bytes) % 2 == 1 && !tt_publish_write(writer->file, "", 1, err))
        return false;
    tt_wav_head_set_length(head, writer->frame_count);
    return tt_publish_seek(writer->file, 0, SEEK_SET, err) &&
           tt_publish_write(writer->file, head->bytes.data, head->bytes.length, err);
}

static bool finish(struct tt_writer *writer, struct tt_error *err)
{
    if (!tt_error_pass_on(&writer->first, err) || !write_pending(writer, err))
        return false;
    if (writer->flac == NULL)
        return write_bytes(writer, true, err) && finish_wav(writer, err);
    struct tt_flac_sink *flac = writer->flac;
    writer->flac = NULL;
    return tt_flac_sink_finish(flac, err);
}

bool tt_writer_commit(struct tt_writer *writer, struct tt_error *err)
{
    bool is_done = finish(writer, err);
    if (is_done) {
        is_done = tt_publish_commit(writer->file, err);
        writer->file = NULL;
    }
    tt_writer_abandon(writer);
    return is_done;
}

void tt_writer_abandon(struct tt_writer *writer)
{
    if (writer == NULL)
        return;
    tt_flac_sink_abandon(writer->flac);
    tt_publish_abandon(writer->file);
    tt_wav_head_free(&writer->head);
    free(writer->blocks);
    free(writer);
}
