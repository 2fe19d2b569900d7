/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/plain.h"

#include <string.h>

size_t tt_utf8_length(const char *text)
{
    for (size_t length = 1; length <= 4 && text[length - 1]; length++)
        if (tt_utf8_is_valid(text, length)) return length;
    return 0;
}

static bool is_harmless(const char *text, size_t length)
{
    const unsigned char *byte = (const unsigned char *)text;
    if (length == 1) return byte[0] >= 0x20 && byte[0] != 0x7F;
    if (length == 2) return byte[0] != 0xC2 || byte[1] >= 0xA0; /* C1: U+0080 to U+009F */
    if (length == 3 && byte[0] == 0xE2 && byte[1] == 0x80) {
        /* U+200E, U+200F; U+2028 to U+202E: line and paragraph separators, embeddings, overrides */
        return byte[2] != 0x8E && byte[2] != 0x8F && !(byte[2] >= 0xA8 && byte[2] <= 0xAE);
    }
    if (length == 3 && byte[0] == 0xE2 && byte[1] == 0x81) return byte[2] < 0xA6 || byte[2] > 0xA9; /* U+2066 to U+2069: isolates */
    return true;
}

void tt_plain_add(struct tt_text *out, const char *text)
{
    while (*text) {
        size_t length = tt_utf8_length(text);
        if (length > 0 && is_harmless(text, length)) tt_text_add_bytes(out, text, length);
        else tt_text_add(out, "?");
        text += length > 0 ? length : 1;
    }
}

/* Bytes of the first `characters` characters of well-formed text. */
static size_t bytes_of(const char *text, size_t characters)
{
    size_t at = 0;
    while (text[at] && characters-- > 0)
        do at++;
        while (((unsigned char)text[at] & 0xC0) == 0x80);
    return at;
}

void tt_plain_add_fit(struct tt_text *out, const char *text, size_t columns, bool is_padded)
{
    struct tt_text clean = {0};
    tt_plain_add(&clean, text);
    if (clean.has_failed) out->has_failed = true;
    const char *shown = clean.data ? clean.data : "";
    size_t whole = bytes_of(shown, columns), used = 0;
    if (!shown[whole]) {
        tt_text_add(out, shown);
        for (size_t i = 0; i < whole; i++) used += ((unsigned char)shown[i] & 0xC0) != 0x80;
    } else {
        tt_text_add_bytes(out, shown, bytes_of(shown, columns > 3 ? columns - 3 : 0));
        tt_text_add(out, "...");
        used = columns;
    }
    for (; is_padded && used < columns; used++) tt_text_add(out, " ");
    tt_text_free(&clean);
}

void tt_utf8_add(struct tt_text *out, const char *text)
{
    while (*text) {
        size_t length = tt_utf8_length(text);
        if (length > 0) tt_text_add_bytes(out, text, length);
        else tt_text_add(out, "\xEF\xBF\xBD");
        text += length > 0 ? length : 1;
    }
}
