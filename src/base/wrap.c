/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/wrap.h"

#include <string.h>

size_t tt_columns_of(const char *text, size_t size)
{
    size_t columns = 0;
    for (size_t i = 0; i < size; i++)
        columns += ((unsigned char)text[i] & 0xC0) != 0x80;
    return columns;
}

void tt_wrap_add(struct tt_text *out, const char *prefix, const char *text)
{
    size_t used = 0;
    while (*(text += strspn(text, " "))) {
        size_t size = strcspn(text, " "), columns = tt_columns_of(text, size);
        if (used > 0 && used + 1 + columns > TT_WRAP_COLUMNS) {
            tt_text_add(out, "\n");
            used = 0;
        }
        tt_text_add(out, used ? " " : prefix);
        used += used ? 1 : tt_columns_of(prefix, strlen(prefix));
        tt_text_add_bytes(out, text, size);
        used += columns;
        text += size;
    }
    if (used)
        tt_text_add(out, "\n");
}
