/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/setting_row.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Values of enums are copied as unsigned int. */
_Static_assert(sizeof(enum tt_hum_policy) == sizeof(unsigned), "enums have another size here");

static const char *const channel_words[] = {"auto", "left", "right", "mix", NULL}; /* in the order of the enum */

const struct tt_setting_row *tt_setting_find(const char *section, const char *key, size_t *index)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++) {
        if (strcmp(rows[i].section, section) != 0 || strcmp(rows[i].key, key) != 0)
            continue;
        if (index)
            *index = i;
        return &rows[i];
    }
    return NULL;
}

bool tt_setting_section_exists(const char *section)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(rows[i].section, section) == 0)
            return true;
    return false;
}

const char *tt_setting_section_of(const char *key)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++)
        if (strcmp(rows[i].key, key) == 0)
            return rows[i].section;
    return NULL;
}

/* tolower() and strcasecmp() follow the locale; the words here are plain ASCII. */
static char lower(char c) { return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c; }

static bool is_word(const char *value, const char *word)
{
    while (*value && lower(*value) == *word)
        value++, word++;
    return !*value && !*word;
}

static bool find_word(const char *value, const char *const *words, unsigned *index)
{
    for (*index = 0; words[*index]; (*index)++)
        if (is_word(value, words[*index]))
            return true;
    return false;
}

static bool is_digit(char c) { return c >= '0' && c <= '9'; }

/* "hh:mm:ss:ff"; frames are compared with the frame rate once all settings are known. */
static bool is_timecode(const char *value)
{
    static const char shape[] = "dd:dd:dd:dd";
    if (strlen(value) != sizeof shape - 1)
        return false;
    for (size_t i = 0; shape[i]; i++) {
        bool fits = shape[i] == 'd' ? is_digit(value[i]) : value[i] == ':' || (i == 8 && value[i] == ';');
        if (!fits)
            return false;
    }
    return atoi(value) <= 23 && atoi(value + 3) <= 59 && atoi(value + 6) <= 59;
}

bool tt_timecode_fits(const char *timecode, enum tt_frame_rate rate)
{
    /* Numbers a second, and numbers left out at each minute but every tenth: SMPTE ST 12-1 (2 at 29.97, 4 at 59.94). */
    static const struct {
        int per_second, dropped;
    } counts[] = {
        [TT_FPS_23976] = {24, 0},  [TT_FPS_24] = {24, 0}, [TT_FPS_25] = {25, 0}, [TT_FPS_2997] = {30, 0},
        [TT_FPS_2997DF] = {30, 2}, [TT_FPS_30] = {30, 0}, [TT_FPS_50] = {50, 0}, [TT_FPS_5994] = {60, 0},
        [TT_FPS_5994DF] = {60, 4}, [TT_FPS_60] = {60, 0},
    };
    int minutes = atoi(timecode + 3), seconds = atoi(timecode + 6), frames = atoi(timecode + 9);
    if (frames >= counts[rate].per_second)
        return false;
    if (timecode[8] == ';' && counts[rate].dropped == 0)
        return false;
    return !(seconds == 0 && minutes % 10 != 0 && frames < counts[rate].dropped);
}

static bool parse_channel(const struct tt_setting_row *row, const char *value, struct tt_settings *settings)
{
    unsigned word;
    double number = 0;
    if (find_word(value, channel_words, &word)) {
        settings->take.channel = (enum tt_channel_policy)word;
        settings->take.channel_number = 0;
        return true;
    }
    for (const char *c = value; *c; c++)
        if (!is_digit(*c))
            return false;
    if (!tt_number_parse(value, &number) || number < row->least || number > row->most)
        return false;
    settings->take.channel = TT_CHANNEL_NUMBER;
    settings->take.channel_number = (int)number;
    return true;
}

/* Line ends and other control characters would break the printed settings, other bytes any file of ours. */
static bool parse_text(const struct tt_setting_row *row, const char *value, char *member)
{
    size_t length = strlen(value);
    if (length < (size_t)row->least || length > (size_t)row->most || !tt_utf8_is_valid(value, length))
        return false;
    for (const char *c = value; *c; c++)
        if ((unsigned char)*c < 0x20 || *c == 0x7F)
            return false;
    memset(member, 0, TT_SETTING_TEXT_CHARS); /* equal settings are equal in all bytes */
    memcpy(member, value, length);
    return true;
}

bool tt_setting_parse(const struct tt_setting_row *row, const char *value, struct tt_settings *settings)
{
    char *member = (char *)settings + row->offset;
    unsigned word;
    double number;
    bool is_yes;
    switch (row->type) {
    case TT_SETTING_NUMBER:
        if (!tt_number_parse(value, &number) || number < row->least || number > row->most)
            return false;
        if (number == 0)
            number = 0; /* -0 */
        memcpy(member, &number, sizeof number);
        return true;
    case TT_SETTING_CHOICE:
        if (!find_word(value, row->choices, &word))
            return false;
        memcpy(member, &word, sizeof word);
        return true;
    case TT_SETTING_YES_NO:
        is_yes = is_word(value, "yes") || is_word(value, "on");
        if (!is_yes && !is_word(value, "no") && !is_word(value, "off"))
            return false;
        memcpy(member, &is_yes, sizeof is_yes);
        return true;
    case TT_SETTING_TEXT:
        return parse_text(row, value, member);
    case TT_SETTING_CHANNEL:
        return parse_channel(row, value, settings);
    case TT_SETTING_TIMECODE:
        if (!is_timecode(value))
            return false;
        memcpy(member, value, strlen(value) + 1);
        return true;
    }
    return false;
}

void tt_setting_value(const struct tt_settings *settings, const struct tt_setting_row *row, struct tt_text *out)
{
    const char *member = (const char *)settings + row->offset;
    unsigned word;
    double number;
    bool is_yes;
    switch (row->type) {
    case TT_SETTING_NUMBER:
        memcpy(&number, member, sizeof number);
        tt_setting_add_number(number, out);
        break;
    case TT_SETTING_CHOICE:
        memcpy(&word, member, sizeof word);
        tt_text_add(out, row->choices[word]);
        break;
    case TT_SETTING_YES_NO:
        memcpy(&is_yes, member, sizeof is_yes);
        tt_text_add(out, row->choices[is_yes]);
        break;
    case TT_SETTING_TEXT:
    case TT_SETTING_TIMECODE:
        tt_text_add(out, member);
        break;
    case TT_SETTING_CHANNEL:
        if (settings->take.channel == TT_CHANNEL_NUMBER)
            tt_text_addf(out, "%d", settings->take.channel_number);
        else
            tt_text_add(out, channel_words[settings->take.channel]);
        break;
    }
}

void tt_setting_add_number(double value, struct tt_text *out)
{
    char digits[40];
    for (int precision = 6; precision <= 17; precision++) { /* 17 digits tell any two doubles apart */
        double again;
        snprintf(digits, sizeof digits, "%.*g", precision, value);
        if (tt_number_parse(digits, &again) && again == value)
            break;
    }
    for (char *c = digits; *c; c++)
        if (*c == ',')
            *c = '.'; /* a caller's locale */
    tt_text_add(out, digits);
}

static void add_words(const char *const *words, const char *last_joint, struct tt_text *out)
{
    for (size_t i = 0; words[i]; i++) {
        if (i > 0)
            tt_text_add(out, words[i + 1] ? ", " : last_joint);
        tt_text_add(out, words[i]);
    }
}

void tt_setting_add_range(const struct tt_setting_row *row, struct tt_text *out)
{
    switch (row->type) {
    case TT_SETTING_NUMBER:
        tt_text_add(out, "from ");
        tt_setting_add_number(row->least, out);
        tt_text_add(out, " to ");
        tt_setting_add_number(row->most, out);
        if (*row->unit)
            tt_text_addf(out, " %s", row->unit);
        break;
    case TT_SETTING_CHOICE:
        add_words(row->choices, " or ", out);
        if (*row->unit)
            tt_text_addf(out, " %s", row->unit);
        break;
    case TT_SETTING_YES_NO:
        tt_text_addf(out, "%s or %s", row->choices[1], row->choices[0]);
        break;
    case TT_SETTING_TEXT:
        tt_text_addf(out, "a text of %d to %d bytes", (int)row->least, (int)row->most);
        break;
    case TT_SETTING_CHANNEL:
        add_words(channel_words, ", ", out);
        tt_text_addf(out, " or a number from %d to %d", (int)row->least, (int)row->most);
        break;
    case TT_SETTING_TIMECODE:
        tt_text_addf(out, "a timecode such as %s", row->fallback);
        break;
    }
}
