/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A reader of our own: the packaged ones give no line numbers to their callers, or cut long lines. */
#include "base/ini.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

enum { LINE_NUMBER_CHARS = 24 }; /* ":" and 64 bits in decimal */

/* What is being read. Lines are cut up in place, in a copy. */
struct ini {
    char *origin;        /* "NAME:LINE" of the line at hand */
    const char *section; /* NULL before the first; points into the copy */
    tt_ini_visit *visit;
    void *context;
};

static bool is_blank(char c) { return c == ' ' || c == '\t'; }

static char *skip_blanks(char *at)
{
    while (is_blank(*at))
        at++;
    return at;
}

static void trim_end(char *start)
{
    size_t length = strlen(start);
    while (length > 0 && is_blank(start[length - 1]))
        start[--length] = '\0';
}

/* The ';' or '#' behind a blank that opens a comment, NULL when there is none. */
static char *find_comment(char *text)
{
    for (char *c = text; *c; c++)
        if (is_blank(*c) && (c[1] == ';' || c[1] == '#'))
            return c + 1;
    return NULL;
}

/* The line's bytes are text? size is what the file holds, also past a NUL. */
static bool check_bytes(const char *line, size_t size, const char *origin, struct tt_error *err)
{
    if (memchr(line, '\0', size))
        return tt_fail(err, TT_ERROR_USAGE, "%s: this is not a text; save it as plain text in UTF-8", origin);
    if (!tt_utf8_is_valid(line, size))
        return tt_fail(err, TT_ERROR_USAGE, "%s: not UTF-8; save the file as plain text in UTF-8", origin);
    for (size_t i = 0; i < size; i++)
        if (((unsigned char)line[i] < 0x20 && line[i] != '\t') || line[i] == 0x7F)
            return tt_fail(err, TT_ERROR_USAGE, "%s: a control character (byte 0x%02X) in column %zu; take it out",
                           origin, (unsigned)(unsigned char)line[i], i + 1);
    return true;
}

/* A value in double quotes, "" standing for a quote inside: takes the quotes away. */
static bool unquote(char *value, const char *origin, struct tt_error *err)
{
    char *from = value + 1, *to = value;
    for (; *from; from++) {
        if (*from == '"' && from[1] != '"')
            break;
        if (*from == '"')
            from++;
        *to++ = *from;
    }
    if (!*from)
        return tt_fail(err, TT_ERROR_USAGE, "%s: a quote is opened and not closed; add \" at the end", origin);
    bool is_apart = !from[1] || is_blank(from[1]);
    char *rest = skip_blanks(from + 1);
    *to = '\0';
    if (!*rest || (is_apart && (*rest == ';' || *rest == '#')))
        return true;
    return tt_fail(err, TT_ERROR_USAGE, "%s: text behind the closing quote; write \"\" for a quote inside", origin);
}

static bool read_section(struct ini *ini, char *line, struct tt_error *err)
{
    char *end = strchr(line, ']');
    char *behind = end ? skip_blanks(end + 1) : NULL;
    if (!end)
        return tt_fail(err, TT_ERROR_USAGE, "%s: the section's name is not closed; add ]", ini->origin);
    if (*behind && *behind != ';' && *behind != '#')
        return tt_fail(err, TT_ERROR_USAGE, "%s: text behind the section's name; begin a new line for it", ini->origin);
    *end = '\0';
    char *name = skip_blanks(line + 1);
    trim_end(name);
    ini->section = name;
    return ini->visit(ini->context, ini->origin, name, NULL, NULL, err);
}

static bool read_key(struct ini *ini, char *line, struct tt_error *err)
{
    char buffer[TT_SHOWN_CHARS];
    char *mark = strchr(line, '='), *comment = find_comment(line);
    if (!mark || (comment && comment < mark)) {
        if (comment)
            *comment = '\0';
        trim_end(line);
        return tt_fail(err, TT_ERROR_USAGE, "%s: '%s' has no '='; write KEY = VALUE", ini->origin,
                       tt_shown(line, buffer));
    }
    *mark = '\0';
    trim_end(line);
    if (!*line)
        return tt_fail(err, TT_ERROR_USAGE, "%s: no key before '='; write KEY = VALUE", ini->origin);
    if (!ini->section)
        return tt_fail(err, TT_ERROR_USAGE, "%s: '%s' stands before the first [section]; put one above it", ini->origin,
                       tt_shown(line, buffer));
    char *value = skip_blanks(mark + 1);
    if (*value == '"') {
        if (!unquote(value, ini->origin, err))
            return false;
    } else {
        comment = find_comment(mark + 1);
        if (comment)
            *comment = '\0';
        if (comment == value)
            *value = '\0';
        trim_end(value);
    }
    return ini->visit(ini->context, ini->origin, ini->section, line, value, err);
}

static bool read_line(struct ini *ini, char *line, struct tt_error *err)
{
    line = skip_blanks(line);
    if (!*line || *line == ';' || *line == '#')
        return true;
    return *line == '[' ? read_section(ini, line, err) : read_key(ini, line, err);
}

static bool read_lines(struct ini *ini, char *text, size_t size, const char *origin_name, struct tt_error *err)
{
    size_t name_length = strlen(origin_name), at = 0;
    if (size >= 3 && memcmp(text, "\xEF\xBB\xBF", 3) == 0)
        at = 3; /* byte-order mark */
    for (size_t number = 1; at < size; number++) {
        char *line = text + at, *end = memchr(line, '\n', size - at);
        size_t length = end ? (size_t)(end - line) : size - at;
        at += length + 1;
        if (length > 0 && line[length - 1] == '\r')
            length--;
        line[length] = '\0'; /* on the line's end, or on the NUL behind the copy */
        snprintf(ini->origin + name_length, LINE_NUMBER_CHARS, ":%zu", number);
        if (!check_bytes(line, length, ini->origin, err) || !read_line(ini, line, err))
            return false;
    }
    return true;
}

bool tt_ini_parse(const char *text, size_t size, const char *origin_name, tt_ini_visit *visit, void *context,
                  struct tt_error *err)
{
    struct ini ini = {
        .origin = tt_format("%s%*s", origin_name, LINE_NUMBER_CHARS, ""), .visit = visit, .context = context};
    struct tt_text copy = {0};
    tt_text_add_bytes(&copy, text, size);
    bool is_read =
        ini.origin && !copy.has_failed ? read_lines(&ini, copy.data, size, origin_name, err) : tt_fail_memory(err);
    tt_text_free(&copy);
    free(ini.origin);
    return is_read;
}
