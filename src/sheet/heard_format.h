/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The layout of OUT/heard/TAKE.bin: a header, then sections, each on a multiple of HEARD_ALIGNMENT so that they are
 * used where they are mapped. */
#ifndef TT_SHEET_HEARD_FORMAT_H
#define TT_SHEET_HEARD_FORMAT_H

#include <stddef.h>
#include <stdint.h>

#include "sheet/heard.h"

/* Raise the version whenever a section changes its meaning; a change of a struct's size is noticed by itself. */
enum { HEARD_VERSION = 3, HEARD_ALIGNMENT = 64 };

static const char heard_magic[8] = {'T', 'T', 'H', 'E', 'A', 'R', 'D', '\n'};

enum heard_section {
    HEARD_CEPSTRA, /* first, as it is written while the take is heard */
    HEARD_FACTS,
    HEARD_SHAPE,
    HEARD_NODES,
    HEARD_POWER,
    HEARD_RUNS,
    HEARD_SOUNDS,
    HEARD_STEPS,
    HEARD_REMARKS,
    HEARD_NUCLEI,
    HEARD_OTHERS,
    HEARD_LEVELS,
    HEARD_SECTIONS
};

struct heard_place {
    uint64_t offset, count, check;
}; /* check: FNV-1a over the section's bytes */

/* Without gaps between its members, so that its own check covers defined bytes only. */
struct heard_header {
    char magic[8];
    uint32_t version, byte_order;
    uint32_t item_size[HEARD_SECTIONS];
    uint64_t header_size;
    uint64_t file_size;
    struct heard_place place[HEARD_SECTIONS];
    uint64_t check; /* over all of the above */
};

enum { HEARD_BYTE_ORDER = 0x01020304 };

/* The header of this build with an empty table. */
void heard_header_start(struct heard_header *header);

/* FNV-1a, 64 bits (draft-eastlake-fnv); start with HEARD_CHECK_START. Against damage, not against an attacker. */
#define HEARD_CHECK_START UINT64_C(0xcbf29ce484222325)
uint64_t heard_check(uint64_t check, const void *data, size_t size);

/* heard.c. tt_heard_open of what is mapped already, which is taken over, also on failure; path is for messages. */
bool heard_open_mapped(struct tt_mapped *mapped, const char *path, const char *content_sha256, const char *hearing_key,
                       struct tt_heard *heard, struct tt_error *err);

#endif
