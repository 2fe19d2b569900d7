/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/csv_text.h"

#include <string.h>

#include "sheet/csv.h"

static const char replacement[] = "\xEF\xBF\xBD"; /* U+FFFD */

/* Bytes of the well-formed character at text, 0 when it is none. */
static size_t character_length(const unsigned char *text, size_t left)
{
    unsigned char lead = text[0];
    if (lead < 0x80)
        return 1;
    size_t length = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
    if (lead < 0xC2 || lead > 0xF4 || left < length)
        return 0;
    unsigned char least = lead == 0xE0 ? 0xA0 : lead == 0xF0 ? 0x90 : 0x80;
    unsigned char most = lead == 0xED ? 0x9F : lead == 0xF4 ? 0x8F : 0xBF;
    if (text[1] < least || text[1] > most)
        return 0;
    for (size_t i = 2; i < length; i++)
        if ((text[i] & 0xC0) != 0x80)
            return 0;
    return length;
}

bool csv_is_utf8(const char *text, size_t length)
{
    for (size_t i = 0, step; i < length; i += step)
        if (!(step = character_length((const unsigned char *)text + i, length - i)))
            return false;
    return true;
}

/* What spreadsheets take for the beginning of a formula: = + - @ and, as some drop it, white space before them. The
 * guard stands also in front of apostrophes that are followed by such a character, so that taking one off always gives
 * back what was written. */
static bool needs_guard(const char *text)
{
    text += strspn(text, "'");
    return *text && strchr("=+-@\t\r\n", *text);
}

bool csv_is_guarded(const char *text) { return text[0] == '\'' && needs_guard(text); }

/* C0, DEL and C1 steer terminals. */
static bool is_control(const unsigned char *character, size_t length)
{
    if (length == 1)
        return (character[0] < 0x20 && !strchr("\t\r\n", character[0])) || character[0] == 0x7F;
    return length == 2 && character[0] == 0xC2 && character[1] < 0xA0;
}

static void add_clean(struct tt_text *out, const char *text, bool is_quoted)
{
    size_t left = strlen(text);
    while (left) {
        const unsigned char *at = (const unsigned char *)text;
        size_t length = character_length(at, left);
        if (length == 0 || is_control(at, length))
            tt_text_add(out, replacement);
        else if (is_quoted && *text == '"')
            tt_text_add(out, "\"\"");
        else
            tt_text_add_bytes(out, text, length);
        if (length == 0)
            length = 1;
        text += length;
        left -= length;
    }
}

void tt_csv_add(struct tt_text *out, const char *cell, bool is_last)
{
    size_t length = strlen(cell);
    bool is_quoted = cell[strcspn(cell, ",;\t\"\r\n")] || (length && (cell[0] == ' ' || cell[length - 1] == ' '));
    if (is_quoted)
        tt_text_add(out, "\"");
    if (needs_guard(cell))
        tt_text_add(out, "'");
    add_clean(out, cell, is_quoted);
    tt_text_add(out, is_quoted ? "\"" : "");
    tt_text_add(out, is_last ? "\r\n" : ",");
}

char *tt_csv_clean(const char *text)
{
    struct tt_text clean = {0};
    add_clean(&clean, text, false);
    tt_text_add(&clean, "");
    if (!clean.has_failed)
        return clean.data;
    tt_text_free(&clean);
    return NULL;
}
