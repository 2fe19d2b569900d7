/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/wav_head.h"

#include <stdio.h>
#include <string.h>

#include "audio/wav_chunks.h"

enum {
    RIFF_HEAD_SIZE = 12,
    DS64_AT = 12, /* EBU Tech 3306: the first chunk, a JUNK chunk of the same size while the file is a plain RIFF */
    DS64_BODY_SIZE = 28, /* without a table */
    TAG_PCM = 1,         /* RIFF 1991: wFormatTag */
    TAG_FLOAT = 3
};
static const uint32_t in_ds64 = 0xFFFFFFFFu; /* in place of a size: look in ds64 */

static void add_fmt(struct tt_text *bytes, const struct tt_sound_format *format, uint32_t frame_bytes)
{
    const bool is_float = format->bits == TT_BITS_32F;
    size_t begin = tt_chunk_begin(bytes, "fmt ");
    tt_bytes_u16(bytes, is_float ? TAG_FLOAT : TAG_PCM);
    tt_bytes_u16(bytes, format->channels == TT_CHANNELS_DUAL ? 2 : 1);
    tt_bytes_u32(bytes, (uint32_t)format->rate_hz);
    tt_bytes_u32(bytes, (uint32_t)format->rate_hz * frame_bytes);
    tt_bytes_u16(bytes, (uint16_t)frame_bytes);
    tt_bytes_u16(bytes, (uint16_t)tt_bits_number(format->bits));
    if (is_float)
        tt_bytes_u16(bytes, 0); /* the size of an extension, which all but PCM must tell */
    tt_chunk_end(bytes, begin);
}

/* EBU R 98: the line of a coding history. */
static void add_bext(struct tt_wav_head *head, const struct tt_sound_format *format, const struct tt_bext *bext)
{
    char line[96];
    (void)snprintf(line, sizeof line, "A=PCM,F=%d,W=%d,M=%s,T=tidytake\r\n", format->rate_hz,
                   tt_bits_number(format->bits), format->channels == TT_CHANNELS_DUAL ? "dual-mono" : "mono");
    head->bext_at = head->bytes.length;
    tt_chunk_bext(&head->bytes, bext, line);
}

bool tt_wav_head_make(struct tt_wav_head *head, const struct tt_sound_format *format, const struct tt_label *labels,
                      size_t label_count, const struct tt_bext *bext, struct tt_error *err)
{
    struct tt_text *bytes = &head->bytes;
    head->frame_bytes = (uint32_t)tt_bits_number(format->bits) / 8 * (format->channels == TT_CHANNELS_DUAL ? 2 : 1);
    head->is_always_rf64 = format->container == TT_CONTAINER_RF64;
    tt_text_add_bytes(bytes, "RIFF\0\0\0\0WAVE", RIFF_HEAD_SIZE);
    size_t reserve = tt_chunk_begin(bytes, "JUNK");
    for (int i = 0; i < DS64_BODY_SIZE / 4; i++)
        tt_bytes_u32(bytes, 0);
    tt_chunk_end(bytes, reserve);
    add_fmt(bytes, format, head->frame_bytes);
    if (format->bits == TT_BITS_32F) { /* RIFF 1991: all but PCM tell their length in frames */
        head->fact_at = tt_chunk_begin(bytes, "fact");
        tt_bytes_u32(bytes, 0);
        tt_chunk_end(bytes, head->fact_at);
    }
    if (bext != NULL)
        add_bext(head, format, bext);
    tt_chunk_labels(bytes, labels, label_count);
    (void)tt_chunk_begin(bytes, "data");
    if (bytes->has_failed)
        return tt_fail_memory(err);
    tt_wav_head_set_length(head, 0);
    return true;
}

void tt_wav_head_set_length(struct tt_wav_head *head, uint64_t frame_count)
{
    struct tt_text *bytes = &head->bytes;
    const uint64_t data_size = frame_count * head->frame_bytes;
    const uint64_t riff_size = bytes->length - 8 + data_size + (data_size & 1);
    const bool is_rf64 = head->is_always_rf64 || riff_size >= in_ds64;
    memcpy(bytes->data, is_rf64 ? "RF64" : "RIFF", 4);
    memcpy(bytes->data + DS64_AT, is_rf64 ? "ds64" : "JUNK", 4);
    tt_bytes_set_u32(bytes, 4, is_rf64 ? in_ds64 : (uint32_t)riff_size);
    tt_bytes_set_u32(bytes, bytes->length - 4, is_rf64 ? in_ds64 : (uint32_t)data_size);
    tt_bytes_set_u64(bytes, DS64_AT + 8, is_rf64 ? riff_size : 0);
    tt_bytes_set_u64(bytes, DS64_AT + 16, is_rf64 ? data_size : 0);
    tt_bytes_set_u64(bytes, DS64_AT + 24, is_rf64 ? frame_count : 0);
    if (head->fact_at > 0)
        tt_bytes_set_u32(bytes, head->fact_at + 8, is_rf64 ? in_ds64 : (uint32_t)frame_count);
}

void tt_wav_head_set_loudness(struct tt_wav_head *head, const struct tt_bext_loudness *loudness)
{
    if (head->bext_at > 0)
        tt_chunk_bext_loudness(&head->bytes, head->bext_at, loudness);
}

void tt_wav_head_free(struct tt_wav_head *head)
{
    tt_text_free(&head->bytes);
    *head = (struct tt_wav_head){0};
}
