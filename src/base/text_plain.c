/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Texts from outside (names of files, notes) on a terminal or in a log: nothing in them steers anything. */
#include "base/text.h"

#include <string.h>

size_t tt_utf8_length(const char *text)
{
    for (size_t length = 1; length <= 4 && text[length - 1]; length++)
        if (tt_utf8_is_valid(text, length))
            return length;
    return 0;
}

static bool is_harmless(const char *text, size_t length)
{
    const unsigned char *byte = (const unsigned char *)text;
    if (length == 1)
        return byte[0] >= 0x20 && byte[0] != 0x7F;
    if (length == 2)
        return (byte[0] != 0xC2 || byte[1] >= 0xA0) &&
               (byte[0] != 0xD8 || byte[1] != 0x9C); /* C1: U+0080 to U+009F; Arabic letter mark: U+061C */
    if (length == 3 && byte[0] == 0xE2 && byte[1] == 0x80) {
        /* U+200E, U+200F; U+2028 to U+202E: line and paragraph separators, embeddings, overrides */
        return byte[2] != 0x8E && byte[2] != 0x8F && !(byte[2] >= 0xA8 && byte[2] <= 0xAE);
    }
    if (length == 3 && byte[0] == 0xE2 && byte[1] == 0x81)
        return byte[2] < 0xA6 || byte[2] > 0xA9; /* U+2066 to U+2069: isolates */
    return true;
}

size_t tt_plain_length(const char *text)
{
    const size_t length = tt_utf8_length(text);
    return length > 0 && is_harmless(text, length) ? length : 0;
}

void tt_make_one_line(char *text)
{
    char *to = text;
    while (*text) {
        const size_t whole = tt_utf8_length(text), plain = tt_plain_length(text), used = whole > 0 ? whole : 1;
        if (plain > 0)
            memmove(to, text, plain);
        else
            *to = '?';
        to += plain > 0 ? plain : 1;
        text += used;
    }
    *to = '\0';
}
