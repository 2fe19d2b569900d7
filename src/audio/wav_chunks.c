/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/wav_chunks.h"

#include <math.h>
#include <string.h>

/* EBU Tech 3285 v2: places in the chunk's body, and the mark of a loudness field that is not used. */
enum {
    BEXT_ORIGINATOR_AT = 256,
    BEXT_REFERENCE_AT = 288,
    BEXT_DATE_AT = 320,
    BEXT_CLOCK_AT = 330,
    BEXT_TIME_AT = 338,
    BEXT_VERSION_AT = 346,
    BEXT_LOUDNESS_AT = 412,
    BEXT_FIXED_SIZE = 602,
    BEXT_VERSION = 2,
    BEXT_UNSET = 0x7FFF,
    BEXT_MOST = 9999 /* 99.99, the greatest value the fields are defined for (from memory) */
};
enum { CHUNK_HEAD_SIZE = 8 };

void tt_bytes_u16(struct tt_text *bytes, uint16_t value)
{
    const char raw[2] = {(char)(value & 0xFF), (char)(value >> 8)};
    tt_text_add_bytes(bytes, raw, sizeof raw);
}

void tt_bytes_u32(struct tt_text *bytes, uint32_t value)
{
    tt_bytes_u16(bytes, (uint16_t)(value & 0xFFFF));
    tt_bytes_u16(bytes, (uint16_t)(value >> 16));
}

static void set_number(struct tt_text *bytes, size_t at, uint64_t value, size_t size)
{
    if (bytes->has_failed || at + size > bytes->length)
        return;
    for (size_t i = 0; i < size; i++)
        bytes->data[at + i] = (char)(value >> (8 * i) & 0xFF);
}

void tt_bytes_set_u32(struct tt_text *bytes, size_t at, uint32_t value) { set_number(bytes, at, value, 4); }

void tt_bytes_set_u64(struct tt_text *bytes, size_t at, uint64_t value) { set_number(bytes, at, value, 8); }

size_t tt_chunk_begin(struct tt_text *bytes, const char *id)
{
    size_t begin = bytes->length;
    tt_text_add_bytes(bytes, id, 4);
    tt_bytes_u32(bytes, 0);
    return begin;
}

void tt_chunk_end(struct tt_text *bytes, size_t begin)
{
    size_t size = bytes->length - begin - CHUNK_HEAD_SIZE;
    if (size > INT32_MAX) /* no header of ours comes near; signed readers stop here */
        bytes->has_failed = true;
    tt_bytes_set_u32(bytes, begin + 4, (uint32_t)size);
    if (size & 1)
        tt_text_add_bytes(bytes, "", 1);
}

/* The fields are ASCII: a letter outside it, of however many UTF-8 bytes, becomes one question mark. */
static void add_ascii(struct tt_text *bytes, const char *text, size_t most)
{
    for (; *text != '\0' && most > 0; text++) {
        unsigned char letter = (unsigned char)*text;
        if ((letter & 0xC0) == 0x80)
            continue;
        bool is_plain = (letter >= 0x20 && letter < 0x7F) || letter == '\r' || letter == '\n';
        tt_text_add_bytes(bytes, is_plain ? text : "?", 1);
        most--;
    }
}

static void add_zeros_to(struct tt_text *bytes, size_t length)
{
    while (bytes->length < length && !bytes->has_failed)
        tt_text_add_bytes(bytes, "", 1);
}

void tt_chunk_bext(struct tt_text *bytes, const struct tt_bext *bext, const char *history_line)
{
    const size_t begin = tt_chunk_begin(bytes, "bext");
    const size_t body = begin + CHUNK_HEAD_SIZE;
    add_ascii(bytes, bext->description, BEXT_ORIGINATOR_AT);
    add_zeros_to(bytes, body + BEXT_ORIGINATOR_AT);
    add_ascii(bytes, bext->originator, 32);
    add_zeros_to(bytes, body + BEXT_REFERENCE_AT);
    add_ascii(bytes, bext->originator_reference, 32);
    add_zeros_to(bytes, body + BEXT_DATE_AT);
    add_ascii(bytes, bext->date, 10); /* the recording's, never today's: the same sound gives the same bytes */
    add_zeros_to(bytes, body + BEXT_CLOCK_AT);
    add_ascii(bytes, bext->time, 8);
    add_zeros_to(bytes, body + BEXT_FIXED_SIZE);
    tt_bytes_set_u64(bytes, body + BEXT_TIME_AT, bext->time_reference > 0 ? (uint64_t)bext->time_reference : 0);
    set_number(bytes, body + BEXT_VERSION_AT, BEXT_VERSION, 2);
    for (size_t i = 0; i < 5; i++)
        set_number(bytes, body + BEXT_LOUDNESS_AT + 2 * i, BEXT_UNSET, 2);
    if (bext->coding_history != NULL && bext->coding_history[0] != '\0') {
        add_ascii(bytes, bext->coding_history, SIZE_MAX);
        if (bext->coding_history[strlen(bext->coding_history) - 1] != '\n')
            tt_text_add(bytes, "\r\n");
    }
    tt_text_add(bytes, history_line);
    tt_chunk_end(bytes, begin);
}

static uint16_t bext_hundredths(double value)
{
    double hundredths = round(100.0 * value);
    if (!(fabs(hundredths) <= BEXT_MOST)) /* NaN, infinity, or out of the fields' range */
        return BEXT_UNSET;
    return (uint16_t)(int16_t)hundredths;
}

void tt_chunk_bext_loudness(struct tt_text *bytes, size_t begin, const struct tt_bext_loudness *loudness)
{
    const double values[5] = {loudness->integrated_lufs, loudness->range_lu, loudness->max_true_peak_dbtp,
                              loudness->max_momentary_lufs, loudness->max_short_term_lufs};
    for (size_t i = 0; i < 5; i++)
        set_number(bytes, begin + CHUNK_HEAD_SIZE + BEXT_LOUDNESS_AT + 2 * i, bext_hundredths(values[i]), 2);
}

static bool has_place(const struct tt_label *label) { return label->frame >= 0 && label->frame <= (int64_t)UINT32_MAX; }

static void add_labl(struct tt_text *bytes, uint32_t name, const char *text)
{
    size_t begin = tt_chunk_begin(bytes, "labl");
    tt_bytes_u32(bytes, name);
    tt_text_add_bytes(bytes, text, strlen(text) + 1);
    tt_chunk_end(bytes, begin);
}

void tt_chunk_labels(struct tt_text *bytes, const struct tt_label *labels, size_t count)
{
    uint32_t name = 0;
    for (size_t i = 0; i < count; i++)
        name += has_place(&labels[i]);
    if (name == 0)
        return;
    const size_t cue = tt_chunk_begin(bytes, "cue ");
    tt_bytes_u32(bytes, name);
    name = 0;
    for (size_t i = 0; i < count; i++) {
        if (!has_place(&labels[i]))
            continue;
        tt_bytes_u32(bytes, ++name);
        tt_bytes_u32(bytes, (uint32_t)labels[i].frame); /* place in playing order */
        tt_text_add_bytes(bytes, "data", 4);
        tt_bytes_u32(bytes, 0); /* with one data chunk, chunk and block begin at 0 */
        tt_bytes_u32(bytes, 0);
        tt_bytes_u32(bytes, (uint32_t)labels[i].frame);
    }
    tt_chunk_end(bytes, cue);
    const size_t list = tt_chunk_begin(bytes, "LIST");
    tt_text_add_bytes(bytes, "adtl", 4);
    name = 0;
    for (size_t i = 0; i < count; i++)
        if (has_place(&labels[i]))
            add_labl(bytes, ++name, labels[i].text != NULL ? labels[i].text : "");
    tt_chunk_end(bytes, list);
}
