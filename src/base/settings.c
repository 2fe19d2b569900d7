/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Settings from text: single keys, assignments, INI files; and what does not go together. */
#include "base/settings.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/ini.h"
#include "base/setting_row.h"

enum { INI_MOST_BYTES = 1 << 20 }; /* whatever is longer was not written by a narrator */

void tt_settings_default(struct tt_settings *settings)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    memset(settings, 0, sizeof *settings);
    for (size_t i = 0; i < count; i++)
        tt_setting_parse(&rows[i], rows[i].fallback, settings);
}

/* Blanks around a word or number are no fault; in a text they are kept. */
static bool parse_trimmed(const struct tt_setting_row *row, const char *value, struct tt_settings *settings)
{
    char word[128];
    size_t length = strlen(value);
    if (row->type == TT_SETTING_TEXT)
        return tt_setting_parse(row, value, settings);
    while (*value == ' ' || *value == '\t')
        value++, length--;
    while (length > 0 && (value[length - 1] == ' ' || value[length - 1] == '\t'))
        length--;
    if (length >= sizeof word)
        return false;
    memcpy(word, value, length);
    word[length] = '\0';
    return tt_setting_parse(row, word, settings);
}

bool tt_settings_set(struct tt_settings *settings, const char *section, const char *key, const char *value,
                     const char *origin, struct tt_setting_origins *origins, struct tt_error *err)
{
    size_t index;
    if (!tt_setting_section_exists(section))
        return tt_setting_fail_section(origin, section, err);
    const struct tt_setting_row *row = tt_setting_find(section, key, &index);
    if (!row)
        return tt_setting_fail_key(origin, section, key, err);
    if (!parse_trimmed(row, value, settings))
        return tt_setting_fail_value(origin, row, value, err);
    if (origins)
        snprintf(origins->from[index], sizeof origins->from[index], "%s", origin);
    return true;
}

/* Cuts the assignment up in place. */
static bool set_copy(struct tt_settings *settings, char *assignment, struct tt_setting_origins *origins,
                     struct tt_error *err)
{
    char buffer[TT_SHOWN_CHARS];
    char *mark = strchr(assignment, '=');
    char *dot = mark ? memchr(assignment, '.', (size_t)(mark - assignment)) : NULL;
    if (!dot || dot == assignment || dot + 1 == mark) {
        size_t key_length = mark ? (size_t)(mark - assignment) : 0;
        char key[64];
        snprintf(key, sizeof key, "%.*s", key_length < sizeof key ? (int)key_length : 0, assignment);
        const char *section = tt_setting_section_of(key), *shown = tt_shown(assignment, buffer);
        if (section)
            return tt_fail(err, TT_ERROR_USAGE, "--set %s: the section is missing; did you mean %s.%s?", shown, section,
                           shown);
        return tt_fail(err, TT_ERROR_USAGE, "--set %s: must be SECTION.KEY=VALUE, such as pauses.longest_ms=1200",
                       shown);
    }
    *dot = *mark = '\0';
    return tt_settings_set(settings, assignment, dot + 1, mark + 1, "--set", origins, err);
}

bool tt_settings_set_assignment(struct tt_settings *settings, const char *assignment,
                                struct tt_setting_origins *origins, struct tt_error *err)
{
    char *copy = tt_copy_string(assignment);
    if (!copy)
        return tt_fail_memory(err);
    bool is_set = set_copy(settings, copy, origins, err);
    free(copy);
    return is_set;
}

/* Where the lines of one file go. */
struct destination {
    struct tt_settings *settings;
    struct tt_setting_origins *origins;
    const char *file;
};

/* "room.wav" beside the settings file, not wherever the program was started. */
static char *beside_file(const char *file, const char *name)
{
    size_t folder_length = (size_t)(tt_path_name(file) - file);
    return tt_format("%.*s%s", (int)folder_length, file, name);
}

static bool set_from_line(void *context, const char *origin, const char *section, const char *key, const char *value,
                          struct tt_error *err)
{
    struct destination *to = context;
    if (!key)
        return tt_setting_section_exists(section) || tt_setting_fail_section(origin, section, err);
    bool is_room_tone = strcmp(section, "floor") == 0 && strcmp(key, "room_tone") == 0;
    if (!is_room_tone || !*value || *value == '/' || strcmp(value, "auto") == 0)
        return tt_settings_set(to->settings, section, key, value, origin, to->origins, err);
    char *path = beside_file(to->file, value);
    bool is_set =
        path ? tt_settings_set(to->settings, section, key, path, origin, to->origins, err) : tt_fail_memory(err);
    free(path);
    return is_set;
}

bool tt_settings_read_ini_text(struct tt_settings *settings, const char *text, size_t size, const char *origin_name,
                               struct tt_setting_origins *origins, struct tt_error *err)
{
    struct destination to = {settings, origins, origin_name};
    return tt_ini_parse(text, size, origin_name, set_from_line, &to, err);
}

bool tt_settings_read_ini(struct tt_settings *settings, const char *path, struct tt_setting_origins *origins,
                          struct tt_error *err)
{
    char *text;
    size_t size;
    struct tt_error reason = {0};
    if (!tt_file_read(path, INI_MOST_BYTES, &text, &size, &reason))
        return tt_fail(err, reason.kind == TT_ERROR_MEMORY ? reason.kind : TT_ERROR_USAGE, "%s", reason.message);
    bool is_read = tt_settings_read_ini_text(settings, text, size, path, origins, err);
    free(text);
    return is_read;
}

static bool fail_order(const char *section, const char *lower, double lower_value, const char *relation,
                       const char *upper, double upper_value, struct tt_error *err)
{
    return tt_fail(err, TT_ERROR_USAGE, "[%s] %s = %.15g must be %s %s = %.15g; change one of them", section, upper,
                   upper_value, relation, lower, lower_value);
}

bool tt_settings_check(const struct tt_settings *settings, struct tt_error *err)
{
    if (settings->pauses.longest_ms < settings->pauses.stay_ms)
        return fail_order("pauses", "stay_ms", settings->pauses.stay_ms, "at least", "longest_ms",
                          settings->pauses.longest_ms, err);
    /* No sound is as loud as its own peaks, by either measure. */
    bool is_rms = settings->loudness.aim == TT_AIM_RMS;
    double target = is_rms ? settings->loudness.target_rms_dbfs : settings->loudness.target_lufs;
    if (settings->loudness.ceiling_dbtp <= target)
        return fail_order("loudness", is_rms ? "target_rms_dbfs" : "target_lufs", target, "more than", "ceiling_dbtp",
                          settings->loudness.ceiling_dbtp, err);
    if (!tt_timecode_fits(settings->deliver.start, settings->deliver.frame_rate)) {
        struct tt_text rate = {0};
        tt_setting_value(settings, tt_setting_find("deliver", "frame_rate", NULL), &rate);
        if (rate.has_failed)
            tt_fail_memory(err);
        else
            tt_fail(err, TT_ERROR_USAGE, "[deliver] start = %s is no timecode at frame_rate = %s; change one of them",
                    settings->deliver.start, rate.data);
        tt_text_free(&rate);
        return false;
    }
    return true;
}
