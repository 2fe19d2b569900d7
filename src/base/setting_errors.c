/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a person reads who mistyped a setting: where, what, and what would be right. */
#include <string.h>

#include "base/setting_row.h"

enum { MOST_ROWS = 64 };

/* Known names: all sections (section is NULL), or the keys of one. */
static size_t list_names(const char *section, const char *names[MOST_ROWS])
{
    size_t row_count, count = 0;
    const struct tt_setting_row *rows = tt_setting_rows(&row_count);
    for (size_t i = 0; i < row_count; i++) {
        if (section && strcmp(rows[i].section, section) == 0)
            names[count++] = rows[i].key;
        if (!section && (i == 0 || strcmp(rows[i].section, rows[i - 1].section) != 0))
            names[count++] = rows[i].section;
    }
    return count;
}

static bool fail_with_text(struct tt_text *text, struct tt_error *err)
{
    if (text->has_failed)
        tt_fail_memory(err);
    else
        tt_fail(err, TT_ERROR_USAGE, "%s", text->data);
    tt_text_free(text);
    return false;
}

static void add_names(struct tt_text *text, const char *opening, const char *const *names, size_t count)
{
    for (size_t i = 0; i < count; i++)
        tt_text_addf(text, "%s%s", i ? ", " : opening, names[i]);
}

bool tt_setting_fail_section(const char *origin, const char *section, struct tt_error *err)
{
    const char *names[MOST_ROWS];
    char buffer[TT_SHOWN_CHARS];
    size_t count = list_names(NULL, names);
    const char *nearest = tt_nearest_name(section, names, count);
    struct tt_text text = {0};
    tt_text_addf(&text, "%s: [%s]: no such section", origin, tt_shown(section, buffer));
    if (nearest)
        tt_text_addf(&text, "; did you mean [%s]?", nearest);
    else
        add_names(&text, "; there are ", names, count);
    return fail_with_text(&text, err);
}

bool tt_setting_fail_key(const char *origin, const char *section, const char *key, struct tt_error *err)
{
    const char *names[MOST_ROWS];
    char buffer[TT_SHOWN_CHARS];
    size_t count = list_names(section, names);
    const char *nearest = tt_nearest_name(key, names, count), *elsewhere = tt_setting_section_of(key);
    struct tt_text text = {0};
    tt_text_addf(&text, "%s: [%s] %s: no such key", origin, section, tt_shown(key, buffer));
    if (elsewhere)
        tt_text_addf(&text, " here; it belongs in [%s]", elsewhere);
    else if (nearest)
        tt_text_addf(&text, "; did you mean %s?", nearest);
    else
        add_names(&text, "; there are ", names, count);
    return fail_with_text(&text, err);
}

/* "12 dB" or "600ms", but not "12": a number with a word behind it. */
static bool opens_with_number(const char *value)
{
    double number;
    size_t digits = strspn(value, "+-0123456789.,");
    char start[32];
    const char *unit = value + digits + strspn(value + digits, " ");
    if (digits == 0 || digits >= sizeof start || !((*unit | 0x20) >= 'a' && (*unit | 0x20) <= 'z'))
        return false;
    memcpy(start, value, digits);
    start[digits] = '\0';
    return tt_number_parse(start, &number);
}

bool tt_setting_fail_value(const char *origin, const struct tt_setting_row *row, const char *value,
                           struct tt_error *err)
{
    char buffer[TT_SHOWN_CHARS];
    size_t count = 0;
    struct tt_text text = {0};
    tt_text_addf(&text, "%s: [%s] %s = %s: must be ", origin, row->section, row->key, tt_shown(value, buffer));
    tt_setting_add_range(row, &text);
    if (row->type == TT_SETTING_NUMBER && opens_with_number(value))
        tt_text_add(&text, "; the number alone, without its unit");
    while (row->choices && row->choices[count])
        count++;
    const char *nearest = count ? tt_nearest_name(value, row->choices, count) : NULL;
    if (nearest)
        tt_text_addf(&text, "; did you mean %s?", nearest);
    return fail_with_text(&text, err);
}
