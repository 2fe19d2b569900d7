/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/html.h"

#include <math.h>
#include <string.h>

/* C0 controls have pictures at U+2400 + code, DEL at U+2421. */
static void add_control(struct tt_text *out, unsigned char code)
{
    const char picture[4] = {'\xE2', '\x90', (char)(0x80 + (code == 0x7F ? 0x21 : code)), 0};
    tt_text_add(out, picture);
}

static void add_ascii(struct tt_text *out, char c)
{
    if (c == '&')
        tt_text_add(out, "&amp;");
    else if (c == '<')
        tt_text_add(out, "&lt;");
    else if (c == '>')
        tt_text_add(out, "&gt;");
    else if (c == '"')
        tt_text_add(out, "&quot;");
    else if (c == '\'')
        tt_text_add(out, "&#39;");
    else if ((unsigned char)c < 0x20 || c == 0x7F)
        add_control(out, (unsigned char)c);
    else
        tt_text_add_bytes(out, &c, 1);
}

void tt_html_text(struct tt_text *out, const char *text)
{
    while (text && *text) {
        size_t length = tt_utf8_length(text);
        bool is_c1 = length == 2 && (unsigned char)text[0] == 0xC2 && (unsigned char)text[1] < 0xA0;
        if (length == 1)
            add_ascii(out, *text);
        else if (length == 0 || is_c1)
            tt_text_add(out, "\xEF\xBF\xBD");
        else
            tt_text_add_bytes(out, text, length);
        text += length > 0 ? length : 1;
    }
}

void tt_html_name(struct tt_text *out, const char *text)
{
    tt_text_add(out, "<bdi>");
    tt_html_text(out, text);
    tt_text_add(out, "</bdi>");
}

/* The embedding program may have set a locale whose decimal mark is a comma: so no %f here. */
static void add_fixed(struct tt_text *out, double value, int decimals, const char *minus)
{
    static const int64_t powers[] = {1, 10, 100, 1000, 10000, 100000, 1000000};
    int64_t unit = powers[decimals];
    double scaled = value * (double)unit;
    if (!(fabs(scaled) < 9e15))
        scaled = 0;
    int64_t whole = llround(scaled), size = whole < 0 ? -whole : whole;
    tt_text_addf(out, "%s%lld", whole < 0 ? minus : "", (long long)(size / unit));
    if (decimals > 0)
        tt_text_addf(out, ".%0*lld", decimals, (long long)(size % unit));
}

void tt_html_number(struct tt_text *out, double value, int decimals)
{
    if (isnan(value))
        tt_text_add(out, "\xE2\x80\x93");
    else if (isinf(value))
        tt_text_add(out, value < 0 ? "\xE2\x88\x92\xE2\x88\x9E" : "\xE2\x88\x9E");
    else
        add_fixed(out, value, decimals, "\xE2\x88\x92");
}

void tt_html_exact(struct tt_text *out, double value, int decimals)
{
    add_fixed(out, isfinite(value) ? value : 0, decimals, "-");
}

void tt_html_clock(struct tt_text *out, double seconds)
{
    if (!isfinite(seconds) || seconds < 0 || seconds > 1e9) {
        tt_text_add(out, "\xE2\x80\x93");
        return;
    }
    long long tenths = llround(seconds * 10), minutes = tenths / 600;
    if (minutes >= 60)
        tt_text_addf(out, "%lld:%02lld", minutes / 60, minutes % 60);
    else
        tt_text_addf(out, "%lld", minutes);
    tt_text_addf(out, ":%02lld.%lld", tenths / 10 % 60, tenths % 10);
}

void tt_html_length(struct tt_text *out, double seconds)
{
    if (!isfinite(seconds) || seconds < 0 || seconds > 1e9)
        tt_text_add(out, "\xE2\x80\x93");
    else if (seconds < 0.0995)
        tt_html_number(out, seconds * 1000, 0), tt_text_add(out, "\xC2\xA0ms");
    else if (seconds < 59.95)
        tt_html_number(out, seconds, 1), tt_text_add(out, "\xC2\xA0s");
    else if (seconds < 3599.5)
        tt_text_addf(out, "%lld\xC2\xA0min\xC2\xA0%lld\xC2\xA0s", llround(seconds) / 60, llround(seconds) % 60);
    else
        tt_text_addf(out, "%lld\xC2\xA0h\xC2\xA0%lld\xC2\xA0min", llround(seconds / 60) / 60,
                     llround(seconds / 60) % 60);
}

void tt_html_count(struct tt_text *out, size_t count, const char *noun)
{
    tt_text_addf(out, "%zu\xC2\xA0%s%s", count, noun, count == 1 ? "" : "s");
}

static bool is_unreserved(unsigned char c)
{
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c != 0 && strchr("-._~", c));
}

void tt_html_url(struct tt_text *out, const char *path)
{
    for (; *path; path++) {
        unsigned char c = (unsigned char)*path;
        if (c == '/' || is_unreserved(c))
            tt_text_add_bytes(out, path, 1);
        else
            tt_text_addf(out, "%%%02X", c);
    }
}

/* Bytes of both paths up to and with the last '/' that ends a folder of both. */
static size_t common_folders(const char *folder, const char *path)
{
    size_t common = 0, i = 0;
    while (path[i] && (folder[i] ? folder[i] == path[i] : path[i] == '/')) {
        if (path[i] == '/')
            common = i + 1;
        if (!folder[i])
            break;
        i++;
    }
    return common;
}

void tt_html_relative_url(struct tt_text *out, const char *folder, const char *path)
{
    size_t common = common_folders(folder, path), length = strlen(folder);
    bool has_climbed = false;
    for (size_t i = common; i < length; i++) {
        if (folder[i] == '/' || (i > 0 && folder[i - 1] != '/'))
            continue; /* each folder's first character */
        tt_text_add(out, "../");
        has_climbed = true;
    }
    if (!has_climbed)
        tt_text_add(out, "./"); /* else a colon in the name would pass for a scheme */
    tt_html_url(out, path + common);
}

void tt_html_shell_word(struct tt_text *out, const char *word)
{
    bool is_plain = *word && *word != '~';
    for (const char *c = word; *c; c++)
        is_plain = is_plain && (is_unreserved((unsigned char)*c) || *c == '/' || *c == ':');
    if (is_plain) {
        tt_html_text(out, word);
        return;
    }
    struct tt_text quoted = {0};
    tt_text_add(&quoted, "'");
    for (const char *c = word; *c; c++) {
        if (*c == '\'')
            tt_text_add(&quoted, "'\\''");
        else
            tt_text_add_bytes(&quoted, c, 1);
    }
    tt_text_add(&quoted, "'");
    if (quoted.has_failed)
        out->has_failed = true;
    else
        tt_html_name(out, quoted.data);
    tt_text_free(&quoted);
}

void tt_html_json_string(struct tt_text *out, const char *text)
{
    tt_text_add(out, "\"");
    while (*text) {
        size_t length = tt_utf8_length(text);
        unsigned char c = (unsigned char)*text;
        bool is_separator =
            length == 3 && c == 0xE2 && (unsigned char)text[1] == 0x80 && ((unsigned char)text[2] | 1) == 0xA9;
        if (length == 0)
            tt_text_add(out, "\\ufffd");
        else if (is_separator)
            tt_text_addf(out, "\\u20%02x", 0x28 + ((unsigned char)text[2] & 1));
        else if (length == 1 && (c < 0x20 || c == 0x7F || strchr("\"\\<>&", c)))
            tt_text_addf(out, "\\u%04x", c);
        else
            tt_text_add_bytes(out, text, length);
        text += length > 0 ? length : 1;
    }
    tt_text_add(out, "\"");
}
