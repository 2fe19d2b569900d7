/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/heard_format.h"

#include <string.h>

#include "sheet/heard.h"

static const uint32_t item_sizes[HEARD_SECTIONS] = {
    [HEARD_CEPSTRA] = TT_CEPSTRA,
    [HEARD_FACTS] = sizeof(struct tt_heard_facts),
    [HEARD_SHAPE] = sizeof(struct tt_stft_shape),
    [HEARD_NODES] = sizeof(int64_t),
    [HEARD_POWER] = sizeof(float),
    [HEARD_RUNS] = sizeof(struct tt_run),
    [HEARD_SOUNDS] = sizeof(struct tt_sound),
    [HEARD_STEPS] = sizeof(float),
    [HEARD_REMARKS] = sizeof(struct tt_remark),
    [HEARD_NUCLEI] = sizeof(int64_t),
    [HEARD_OTHERS] = sizeof(struct tt_span_frames),
    [HEARD_LEVELS] = sizeof(int8_t),
};

_Static_assert(sizeof(struct heard_header) == 8 + 8 + 4 * HEARD_SECTIONS + 8 + 8 + 24 * HEARD_SECTIONS + 8,
               "the header has no gaps");

/* These are written as they lie in memory, so that no byte of them may be left to chance. */
_Static_assert(sizeof(struct tt_heard_facts) == 72 + 72 + 6 * 4 + 8 + 8 + 200 + 8 * sizeof(double) +
                                                    4 * sizeof(double) + sizeof(double) +
                                                    TT_HUM_HARMONICS * sizeof(float) + TT_COLOUR_BANDS * sizeof(float),
               "what was heard has no gaps");
_Static_assert(sizeof(struct tt_sound) == 2 * 8 + sizeof(enum tt_sound_kind) + 3 * sizeof(float),
               "a sound has no gaps");
_Static_assert(sizeof(struct tt_remark) == 24 + 232 + sizeof(double), "a remark has no gaps");

void heard_header_start(struct heard_header *header)
{
    memset(header, 0, sizeof *header);
    memcpy(header->magic, heard_magic, sizeof header->magic);
    header->version = HEARD_VERSION;
    header->byte_order = HEARD_BYTE_ORDER;
    memcpy(header->item_size, item_sizes, sizeof item_sizes);
    header->header_size = sizeof *header;
}

uint64_t heard_check(uint64_t check, const void *data, size_t size)
{
    const unsigned char *bytes = data;
    for (size_t i = 0; i < size; i++)
        check = (check ^ bytes[i]) * UINT64_C(0x100000001b3);
    return check;
}
