/* SPDX-License-Identifier: GPL-2.0-or-later */
/* For libFuzzer: changes a WAV file chunk by chunk, so that most of what comes out still has a head that is believed.
 * Plain changes of bytes nearly all end at a size that does not fit, and never meet what lies behind it. */
#ifndef TT_TESTS_FUZZ_WAV_H
#define TT_TESTS_FUZZ_WAV_H

#ifdef TT_GUIDED_FUZZING
#include <stdint.h>
#include <string.h>

size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t most);
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t most, unsigned int seed);

enum { WAV_HEAD = 12, WAV_CHUNK_HEAD = 8, WAV_MOST_CHUNKS = 64, WAV_MOST_NEW = 96 };

struct wav_chunk {
    size_t at, size; /* with its head; no more than is there */
};

static uint32_t wav_number(const uint8_t *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static void wav_set_number(uint8_t *at, uint32_t value)
{
    for (int i = 0; i < 4; i++)
        at[i] = (uint8_t)(value >> (8 * i));
}

static size_t wav_chunks(const uint8_t *data, size_t size, struct wav_chunk *chunks)
{
    size_t count = 0;
    for (size_t at = WAV_HEAD; at + WAV_CHUNK_HEAD <= size && count < WAV_MOST_CHUNKS; count++) {
        const size_t told = (size_t)wav_number(data + at + 4) + WAV_CHUNK_HEAD;
        chunks[count] = (struct wav_chunk){at, told < size - at ? told : size - at};
        at += chunks[count].size + (told & 1);
    }
    return count;
}

/* Makes room for, or closes up, bytes at a place. */
static size_t wav_resize(uint8_t *data, size_t size, size_t at, size_t from, size_t to)
{
    memmove(data + at + to, data + at + from, size - at - from);
    return size - from + to;
}

static size_t wav_add_chunk(uint8_t *data, size_t size, size_t most, size_t at, unsigned int dice)
{
    static const char ids[][5] = {"bext", "iXML", "cue ", "LIST", "ds64", "fact", "JUNK",
                                  "fmt ", "data", "smpl", "id3 ", "PEAK", "labl", "levl"};
    const uint32_t length = dice % WAV_MOST_NEW;
    const size_t room = WAV_CHUNK_HEAD + length + (length & 1);
    if (size + room > most)
        return size;
    size = wav_resize(data, size, at, 0, room);
    memset(data + at, 0, room);
    memcpy(data + at, ids[(dice >> 8) % (sizeof ids / sizeof *ids)], 4);
    wav_set_number(data + at + 4, length);
    LLVMFuzzerMutate(data + at + WAV_CHUNK_HEAD, length, length);
    return size;
}

static size_t wav_double_chunk(uint8_t *data, size_t size, size_t most, struct wav_chunk chunk, size_t to)
{
    static uint8_t copy[1 << 16];
    if (chunk.size > sizeof copy || size + chunk.size > most)
        return size;
    memcpy(copy, data + chunk.at, chunk.size);
    size = wav_resize(data, size, to, 0, chunk.size);
    memcpy(data + to, copy, chunk.size);
    return size;
}

/* What a chunk holds becomes something else, also longer or shorter, and its size is told. */
static size_t wav_change_chunk(uint8_t *data, size_t size, size_t most, struct wav_chunk chunk)
{
    static uint8_t held[1 << 16];
    const size_t old = chunk.size - WAV_CHUNK_HEAD,
                 room = most - size + old < sizeof held ? most - size + old : sizeof held;
    if (old == 0 || old > room)
        return size;
    memcpy(held, data + chunk.at + WAV_CHUNK_HEAD, old);
    const size_t now = LLVMFuzzerMutate(held, old, room);
    size = wav_resize(data, size, chunk.at + WAV_CHUNK_HEAD, old, now);
    memcpy(data + chunk.at + WAV_CHUNK_HEAD, held, now);
    wav_set_number(data + chunk.at + 4, (uint32_t)now);
    return size;
}

static size_t wav_change(uint8_t *data, size_t size, size_t most, unsigned int dice)
{
    static const uint32_t odd_sizes[] = {0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF};
    struct wav_chunk chunks[WAV_MOST_CHUNKS];
    const size_t count = size >= WAV_HEAD && (memcmp(data, "RIFF", 4) == 0 || memcmp(data, "RF64", 4) == 0)
                             ? wav_chunks(data, size, chunks)
                             : 0;
    if (count == 0 || dice % 8 == 0)
        return LLVMFuzzerMutate(data, size, most);
    const struct wav_chunk chunk = chunks[(dice >> 4) % count], other = chunks[(dice >> 12) % count];
    switch (dice % 8) {
    case 1:
        size = wav_resize(data, size, chunk.at, chunk.size, 0);
        break;
    case 2:
        size = wav_double_chunk(data, size, most, chunk, other.at);
        break;
    case 3:
        size = wav_add_chunk(data, size, most, chunk.at, dice >> 8);
        break;
    case 4:
        wav_set_number(data + chunk.at + 4, odd_sizes[(dice >> 20) % (sizeof odd_sizes / sizeof *odd_sizes)]);
        break;
    default:
        size = wav_change_chunk(data, size, most, chunk);
        break;
    }
    if (dice >> 28 && memcmp(data, "RIFF", 4) == 0)
        wav_set_number(data + 4, (uint32_t)size - 8);
    return size;
}
#endif

#endif
