/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/summary_text.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/wrap.h"
#include "report/plain.h"

enum { COLUMNS = 80, NAME_COLUMNS = 16, TEXT_COLUMN = 2 + NAME_COLUMNS + 2 + 12 + 2, LABEL_COLUMNS = 14 };

static void add_blanks(struct tt_text *out, size_t count)
{
    while (count-- > 0)
        tt_text_add(out, " ");
}

/* Bytes of the first word, at most `columns` characters of it; *characters is how many. */
static size_t first_word(const char *text, size_t columns, size_t *characters)
{
    size_t at = 0;
    for (*characters = 0; text[at] && text[at] != ' ' && *characters < columns; ++*characters)
        do
            at++;
        while (((unsigned char)text[at] & 0xC0) == 0x80);
    return at;
}

/* From column `indent` on, where the first line stands already. */
static void add_broken(struct tt_text *out, size_t indent, const char *text)
{
    struct tt_text clean = {0};
    tt_plain_add(&clean, text);
    if (clean.has_failed)
        out->has_failed = true;
    size_t used = 0, room = COLUMNS - indent;
    for (const char *at = clean.data ? clean.data : ""; *(at += strspn(at, " "));) {
        size_t columns, size = first_word(at, room, &columns);
        if (used > 0 && used + 1 + columns > room) {
            tt_text_add(out, "\n");
            add_blanks(out, indent);
            used = 0;
        }
        if (used > 0)
            tt_text_add(out, " ");
        tt_text_add_bytes(out, at, size);
        used += columns + (used > 0);
        at += size;
        if (*at && *at != ' ')
            used = room; /* a longer word goes on in the next line */
    }
    tt_text_add(out, "\n");
    tt_text_free(&clean);
}

static size_t columns_of(const char *text)
{
    struct tt_text clean = {0};
    tt_plain_add(&clean, text);
    const size_t columns = tt_columns_of(clean.data, clean.length);
    tt_text_free(&clean);
    return columns;
}

void tt_summary_add_name(struct tt_text *out, const char *name, size_t columns)
{
    if (columns_of(name) > columns) {
        tt_summary_add_lines(out, 2, name);
        name = "";
    }
    add_blanks(out, 2);
    tt_plain_add_fit(out, name, columns, true);
}

void tt_summary_add_item(struct tt_text *out, const char *name, int64_t at_ms, const char *text)
{
    if (!name) {
        tt_summary_add_lines(out, 2, text);
        return;
    }
    char time[TT_TIME_CHARS] = "";
    if (at_ms >= 0)
        tt_time_format(at_ms, time);
    tt_summary_add_name(out, name, NAME_COLUMNS);
    tt_text_addf(out, "  %-12.12s  ", time);
    add_broken(out, TEXT_COLUMN, text);
}

void tt_summary_add_lines(struct tt_text *out, size_t indent, const char *text)
{
    add_blanks(out, indent);
    add_broken(out, indent, text);
}

void tt_summary_add_figure(struct tt_text *out, const char *label, const char *text)
{
    tt_plain_add_fit(out, label, LABEL_COLUMNS, true);
    add_broken(out, LABEL_COLUMNS, text);
}

void tt_summary_clock(double seconds, char *buffer)
{
    int64_t whole = isfinite(seconds) && seconds > 0 ? (int64_t)llround(seconds) : 0;
    snprintf(buffer, TT_TIME_CHARS, "%" PRId64 ":%02d:%02d", whole / 3600, (int)(whole / 60 % 60), (int)(whole % 60));
}
