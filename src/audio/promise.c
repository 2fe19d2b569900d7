/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/promise.h"

#include <string.h>
#include <sys/types.h>
#include <unistd.h>

enum { MOST_CHUNKS = 4096 }; /* before the sound data; a header that holds more is not worth following */

struct bytes { int fd; int64_t file_size; };

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

/* Writers that cannot go back leave the greatest value there is, signed or unsigned, or a little less (common practice, no
 * source); zero is left by a recorder that lost power. None of these is a promise. */
static bool is_unset_u32(uint64_t size)
{
    return size == 0 || size >= 0xFFFFF000u || (size >= 0x7FFFF000u && size <= 0x80000000u);
}

static struct tt_data_promise promise(int64_t offset, uint64_t size)
{
    struct tt_data_promise found = { true, offset, INT64_MAX };
    if (size < (uint64_t)INT64_MAX)
        found.data_bytes = (int64_t)size;
    return found;
}

static const struct tt_data_promise nothing = { false, 0, 0 };

/* RIFF 1991; RF64: EBU Tech 3306 and ITU-R BS.2088 (the real size is in ds64). AIFF has the same walk, big-endian. */
static struct tt_data_promise walk_chunks(const struct bytes *in, const char *data_id, bool is_big_endian)
{
    uint64_t long_size = 0;
    int64_t at = 12;
    for (int i = 0; i < MOST_CHUNKS; i++) {
        unsigned char head[8], sizes[16];
        if (!get(in, at, head, sizeof head))
            return nothing;
        uint64_t size = number(head + 4, 4, is_big_endian);
        if (memcmp(head, "ds64", 4) == 0 && get(in, at + 8, sizes, sizeof sizes))
            long_size = number(sizes + 8, 8, false);
        if (memcmp(head, data_id, 4) == 0) {
            if (size == 0xFFFFFFFFu && long_size > 0)
                return promise(at + 8, long_size);
            return is_unset_u32(size) ? nothing : promise(at + 8, size);
        }
        at += 8 + (int64_t)size + (int64_t)(size & 1);
    }
    return nothing;
}

/* W64: 16-byte names that begin with the RIFF name, 64-bit sizes that count their own 24-byte header, 8-byte steps. */
static struct tt_data_promise walk_w64(const struct bytes *in)
{
    int64_t at = 40;
    for (int i = 0; i < MOST_CHUNKS; i++) {
        unsigned char head[24];
        if (!get(in, at, head, sizeof head))
            return nothing;
        uint64_t size = number(head + 16, 8, false);
        if (size < 24 || size > (uint64_t)INT64_MAX / 2)
            return nothing;
        if (memcmp(head, "data", 4) == 0)
            return size == 24 ? nothing : promise(at + 24, size - 24);
        at += (int64_t)((size + 7) & ~(uint64_t)7);
        if (at > in->file_size)
            return nothing;
    }
    return nothing;
}

/* CAF: 12-byte chunk headers with big-endian 64-bit sizes; -1 means to the end of the file; data begins with an edit count. */
static struct tt_data_promise walk_caf(const struct bytes *in)
{
    int64_t at = 8;
    for (int i = 0; i < MOST_CHUNKS; i++) {
        unsigned char head[12];
        if (!get(in, at, head, sizeof head))
            return nothing;
        uint64_t size = number(head + 4, 8, true);
        if (memcmp(head, "data", 4) == 0)
            return size < 4 || size > (uint64_t)INT64_MAX ? nothing : promise(at + 16, size - 4);
        if (size > (uint64_t)in->file_size)
            return nothing;
        at += 12 + (int64_t)size;
    }
    return nothing;
}

static struct tt_data_promise read_au(const unsigned char *head, bool is_big_endian)
{
    uint64_t size = number(head + 8, 4, is_big_endian);
    return is_unset_u32(size) ? nothing : promise((int64_t)number(head + 4, 4, is_big_endian), size);
}

struct tt_data_promise tt_data_promise_read(int fd, int64_t file_size)
{
    const struct bytes in = { fd, file_size };
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
        return read_au(head, head[0] == '.');
    return nothing;
}
