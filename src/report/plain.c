/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/plain.h"

#include "base/wrap.h"

void tt_plain_add(struct tt_text *out, const char *text)
{
    while (*text) {
        const size_t length = tt_utf8_length(text), plain = tt_plain_length(text);
        if (plain > 0)
            tt_text_add_bytes(out, text, plain);
        else
            tt_text_add(out, "?");
        text += length > 0 ? length : 1;
    }
}

/* Bytes of the first `characters` characters of well-formed text. */
static size_t bytes_of(const char *text, size_t characters)
{
    size_t at = 0;
    while (text[at] && characters-- > 0)
        do
            at++;
        while (((unsigned char)text[at] & 0xC0) == 0x80);
    return at;
}

void tt_plain_add_fit(struct tt_text *out, const char *text, size_t columns, bool is_padded)
{
    struct tt_text clean = {0};
    tt_plain_add(&clean, text);
    if (clean.has_failed)
        out->has_failed = true;
    const char *shown = clean.data ? clean.data : "";
    size_t whole = bytes_of(shown, columns), used = 0;
    if (!shown[whole]) {
        tt_text_add(out, shown);
        used = tt_columns_of(shown, whole);
    } else {
        tt_text_add_bytes(out, shown, bytes_of(shown, columns > 3 ? columns - 3 : 0));
        tt_text_add(out, "...");
        used = columns;
    }
    for (; is_padded && used < columns; used++)
        tt_text_add(out, " ");
    tt_text_free(&clean);
}

void tt_utf8_add(struct tt_text *out, const char *text)
{
    while (*text) {
        size_t length = tt_utf8_length(text);
        if (length > 0)
            tt_text_add_bytes(out, text, length);
        else
            tt_text_add(out, "\xEF\xBF\xBD");
        text += length > 0 ? length : 1;
    }
}
