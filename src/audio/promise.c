/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/promise.h"

#include <string.h>
#include <sys/types.h>
#include <unistd.h>

enum { MOST_CHUNKS = 4096 }; /* before the sound data; a header that holds more is not worth following */

struct bytes {
    int fd;
    int64_t file_size;
};

static bool get(const struct bytes *in, int64_t offset, void *data, size_t size)
{
    if (offset < 0 || offset > in->file_size - (int64_t)size)
        return false;
    return pread(in->fd, data, size, (off_t)offset) == (ssize_t)size;
}

static uint64_t number(const unsigned char *at, int size, bool is_big_endian)
{
    uint64_t value = 0;
    for (int i = 0; i < size; i++)
        value = value << 8 | at[is_big_endian ? i : size - 1 - i];
    return value;
}

/* Writers that cannot go back leave the greatest value there is, signed or unsigned, or a little less (common practice,
 * no source). */
static bool is_stream_mark(uint64_t size)
{
    return size >= 0xFFFFF000u || (size >= 0x7FFFF000u && size <= 0x80000000u);
}

/* Settles what follows from the size that stands at size_field_at. */
static struct tt_data_promise settle(const struct bytes *in, struct tt_data_promise promise, uint64_t size)
{
    uint64_t extra = (uint64_t)promise.size_extra;
    promise.data_bytes = size < extra ? 0 : size - extra < (uint64_t)INT64_MAX ? (int64_t)(size - extra) : INT64_MAX;
    promise.is_kept = !promise.is_left_open && promise.data_bytes <= in->file_size - promise.data_offset;
    return promise;
}

static const struct tt_data_promise nothing = {.size_field_bytes = 0};

/* A size of zero is left by a recorder that lost power, if the size of the whole was not filled in either. */
static bool is_whole_size_filled_in(const struct bytes *in, bool is_big_endian)
{
    unsigned char head[8];
    return get(in, 0, head, sizeof head) && (int64_t)number(head + 4, 4, is_big_endian) + 8 == in->file_size;
}

static struct tt_data_promise settle_riff(const struct bytes *in, int64_t at, uint64_t size, int64_t long_size_at,
                                          bool is_big_endian)
{
    struct tt_data_promise promise = {.data_offset = at + 8, .size_field_at = at + 4, .size_field_bytes = 4};
    unsigned char long_size[8];
    promise.is_big_endian = is_big_endian;
    if (size == 0xFFFFFFFFu && long_size_at > 0 && get(in, long_size_at, long_size, sizeof long_size)) {
        promise.size_field_at = long_size_at;
        promise.size_field_bytes = 8;
        return settle(in, promise, number(long_size, 8, false));
    }
    bool is_past_end = at + 8 + (int64_t)size > in->file_size;
    promise.is_left_open =
        (is_stream_mark(size) && is_past_end) || (size == 0 && !is_whole_size_filled_in(in, is_big_endian));
    return settle(in, promise, size);
}

/* RIFF 1991; RF64: EBU Tech 3306 and ITU-R BS.2088 (the real size is in ds64). AIFF has the same walk, big-endian; its
 * SSND begins with an offset and a block size. */
static struct tt_data_promise walk_chunks(const struct bytes *in, const char *data_id, bool is_big_endian)
{
    int64_t long_size_at = 0, at = 12;
    for (int i = 0; i < MOST_CHUNKS; i++) {
        unsigned char head[8];
        if (!get(in, at, head, sizeof head))
            return nothing;
        uint64_t size = number(head + 4, 4, is_big_endian);
        if (memcmp(head, "ds64", 4) == 0)
            long_size_at = at + 16; /* its second number */
        if (memcmp(head, data_id, 4) == 0)
            return settle_riff(in, at, size, long_size_at, is_big_endian);
        at += 8 + (int64_t)size + (int64_t)(size & 1);
    }
    return nothing;
}

/* W64: 16-byte names that begin with the RIFF name, 64-bit sizes that count their own 24-byte header, 8-byte steps. */
static struct tt_data_promise walk_w64(const struct bytes *in)
{
    int64_t at = 40;
    for (int i = 0; i < MOST_CHUNKS && at <= in->file_size; i++) {
        unsigned char head[24];
        if (!get(in, at, head, sizeof head))
            return nothing;
        uint64_t size = number(head + 16, 8, false);
        if (size < 24 || size > (uint64_t)INT64_MAX / 2)
            return nothing;
        if (memcmp(head, "data", 4) == 0) {
            struct tt_data_promise promise = {.data_offset = at + 24, .size_field_at = at + 16, .size_field_bytes = 8};
            promise.size_extra = sizeof head;
            return settle(in, promise, size);
        }
        at += (int64_t)((size + 7) & ~(uint64_t)7);
    }
    return nothing;
}

/* CAF: 12-byte chunk headers with big-endian 64-bit sizes; -1 means to the end of the file; data begins with an edit
 * count. */
static struct tt_data_promise walk_caf(const struct bytes *in)
{
    int64_t at = 8;
    for (int i = 0; i < MOST_CHUNKS; i++) {
        unsigned char head[12];
        if (!get(in, at, head, sizeof head))
            return nothing;
        uint64_t size = number(head + 4, 8, true);
        if (memcmp(head, "data", 4) == 0) {
            struct tt_data_promise promise = {.data_offset = at + 16, .size_field_at = at + 4, .size_field_bytes = 8};
            promise.size_extra = 4;
            promise.is_big_endian = true;
            promise.is_left_open = size == UINT64_MAX;
            return settle(in, promise, size);
        }
        if (size > (uint64_t)in->file_size)
            return nothing;
        at += 12 + (int64_t)size;
    }
    return nothing;
}

static struct tt_data_promise read_au(const struct bytes *in, const unsigned char *head, bool is_big_endian)
{
    struct tt_data_promise promise = {.size_field_at = 8, .size_field_bytes = 4, .is_big_endian = is_big_endian};
    uint64_t size = number(head + 8, 4, is_big_endian);
    promise.data_offset = (int64_t)number(head + 4, 4, is_big_endian);
    promise.is_left_open = size == 0 || (is_stream_mark(size) && promise.data_offset + (int64_t)size > in->file_size);
    return settle(in, promise, size);
}

struct tt_data_promise tt_data_promise_read(int fd, int64_t file_size)
{
    const struct bytes in = {fd, file_size};
    unsigned char head[12];
    if (!get(&in, 0, head, sizeof head))
        return nothing;
    if (memcmp(head, "RIFF", 4) == 0 || memcmp(head, "RF64", 4) == 0 || memcmp(head, "BW64", 4) == 0)
        return walk_chunks(&in, "data", false);
    if (memcmp(head, "RIFX", 4) == 0)
        return walk_chunks(&in, "data", true);
    if (memcmp(head, "FORM", 4) == 0)
        return walk_chunks(&in, "SSND", true);
    if (memcmp(head, "riff", 4) == 0)
        return walk_w64(&in);
    if (memcmp(head, "caff", 4) == 0)
        return walk_caf(&in);
    if (memcmp(head, ".snd", 4) == 0 || memcmp(head, "dns.", 4) == 0)
        return read_au(&in, head, head[0] == '.');
    return nothing;
}
