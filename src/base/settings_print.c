/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The settings table as INI and as a manual page. */
#include <string.h>

#include "base/setting_row.h"
#include "base/wrap.h"

static bool needs_quotes(const char *value)
{
    size_t length = strlen(value);
    return length > 0 && (strpbrk(value, "\";#") || value[0] == ' ' || value[length - 1] == ' ');
}

static void add_ini_value(const char *value, struct tt_text *out)
{
    if (!needs_quotes(value)) {
        tt_text_add(out, value);
        return;
    }
    tt_text_add(out, "\"");
    for (; *value; value++)
        tt_text_add(out, *value == '"' ? "\"\"" : (char[]){*value, '\0'});
    tt_text_add(out, "\"");
}

/* A path too long for its line loses its front: the file's name and the line number say most. */
static const char *shortened_origin(const char *origin)
{
    size_t length = strlen(origin), most = TT_WRAP_COLUMNS - strlen("; ...");
    if (length <= most)
        return origin;
    const char *start = origin + length - most;
    while (((unsigned char)*start & 0xC0) == 0x80)
        start++;
    return start;
}

static void add_origin(const char *origin, struct tt_text *out)
{
    const char *start = shortened_origin(origin);
    if (start != origin)
        tt_text_add(out, "...");
    /* File names may hold line ends. */
    for (; *start; start++)
        tt_text_add(out, (unsigned char)*start < 0x20 || *start == 0x7F ? "?" : (char[]){*start, '\0'});
}

static void print_row(const struct tt_settings *settings, const struct tt_setting_row *row, const char *origin,
                      struct tt_text *out)
{
    struct tt_text note = {0}, value = {0};
    tt_wrap_add(out, "; ", row->help);
    tt_setting_add_range(row, &note);
    tt_text_add(&note, *origin ? "; set by " : "; built in");
    add_origin(origin, &note);
    tt_setting_value(settings, row, &value);
    if (note.has_failed || value.has_failed)
        out->has_failed = true;
    else {
        tt_wrap_add(out, "; ", note.data);
        tt_text_addf(out, "%s =%s", row->key, value.length ? " " : "");
        if (value.length)
            add_ini_value(value.data, out);
        tt_text_add(out, "\n");
    }
    tt_text_free(&note);
    tt_text_free(&value);
}

void tt_settings_print(const struct tt_settings *settings, const struct tt_setting_origins *origins,
                       struct tt_text *out)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++) {
        bool begins_section = i == 0 || strcmp(rows[i].section, rows[i - 1].section) != 0;
        if (begins_section)
            tt_text_addf(out, "%s; -- %s\n[%s]\n", i ? "\n" : "", tt_setting_section_help(rows[i].section),
                         rows[i].section);
        print_row(settings, &rows[i], origins ? origins->from[i] : "", out);
    }
}

/* A sentence begins a line, as mdoc wants it, and nothing in it is taken by roff for its own: no '.' or "'" in front of
 * a line, no full stop behind one but the sentence's. */
static void add_mdoc_sentence(const char *opening, const char *sentence, struct tt_text *out)
{
    struct tt_text text = {0};
    tt_text_add(&text, opening);
    for (const char *c = sentence; *c; c++) {
        bool begins_word = c == sentence || c[-1] == ' ';
        char letter = c == sentence && !*opening && *c >= 'a' && *c <= 'z' ? (char)(*c - 'a' + 'A') : *c;
        if (begins_word && (letter == '.' || letter == '\''))
            tt_text_add(&text, "\\&");
        if (letter == '\\')
            tt_text_add(&text, "\\e");
        else
            tt_text_add_bytes(&text, &letter, 1);
        if (letter == '.' && c[1] == ' ')
            tt_text_add(&text, "\\&");
    }
    tt_text_add(&text, ".");
    if (text.has_failed)
        out->has_failed = true;
    else
        tt_wrap_add(out, "", text.data);
    tt_text_free(&text);
}

void tt_settings_print_mdoc(struct tt_text *out)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++) {
        bool begins_section = i == 0 || strcmp(rows[i].section, rows[i - 1].section) != 0;
        bool ends_section = i + 1 == count || strcmp(rows[i].section, rows[i + 1].section) != 0;
        struct tt_text range = {0};
        tt_setting_add_range(&rows[i], &range);
        if (begins_section) {
            tt_text_addf(out, ".Ss %s\n", rows[i].section);
            add_mdoc_sentence("", tt_setting_section_help(rows[i].section), out);
            tt_text_add(out, ".Bl -tag -width Ds\n");
        }
        tt_text_addf(out, ".It Cm %s No =%s%s\n", rows[i].key, *rows[i].fallback ? " " : "", rows[i].fallback);
        add_mdoc_sentence("", rows[i].help, out);
        if (range.has_failed)
            out->has_failed = true;
        else
            add_mdoc_sentence("Allowed: ", range.data, out);
        if (ends_section)
            tt_text_add(out, ".El\n");
        tt_text_free(&range);
    }
}
