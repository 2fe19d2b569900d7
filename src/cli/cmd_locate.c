/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake locate: a time in the narration -> take, time in the take, rows of its sheet there. */
#include <dirent.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"
#include "cli/command.h"
#include "report/json_values.h"
#include "report/plain.h"
#include "session/out_folder.h"

static json_t *read_json(const char *folder, const char *name, struct tt_error *err)
{
    char *path = tt_path_join(folder, name), *text = NULL;
    size_t size = 0;
    json_t *json = NULL;
    if (path && tt_file_read(path, TT_JSON_MOST_BYTES, &text, &size, err) && !(json = json_loadb(text, size, 0, NULL)))
        tt_fail(err, TT_ERROR_INPUT, "%s: damaged; run clean again", path);
    free(text);
    free(path);
    return json;
}

static const char *text_at(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

static int64_t integer_at(const json_t *object, const char *key)
{
    return (int64_t)json_integer_value(json_object_get(object, key));
}

/* The place in the take, or the one just before it where made room tone is heard. */
static double source_time_s(const json_t *report, double voice_s, bool *is_made)
{
    const double rate = (double)integer_at(json_object_get(report, "source"), "rate_hz");
    const double out_rate = (double)integer_at(json_object_get(report, "output"), "rate_hz");
    const json_t *map = json_object_get(report, "time_map");
    double found = 0;
    *is_made = true;
    for (size_t i = 0; i < json_array_size(map); i++) {
        const json_t *entry = json_array_get(map, i);
        double start = (double)integer_at(entry, "source_start_frame") / rate,
               end = (double)integer_at(entry, "source_end_frame") / rate;
        double out = (double)integer_at(entry, "out_start_frame") / out_rate;
        if (voice_s < out)
            break;
        *is_made = voice_s >= out + (end - start);
        found = *is_made ? end : start + voice_s - out;
    }
    return found;
}

/* Rows that lie so near are told with the place. */
static const double near_s = 3;

static void print_row(const json_t *row)
{
    static const char *const keys[] = {"id", "start", "end", "kind", "action"};
    printf(" ");
    for (size_t k = 0; k < sizeof keys / sizeof *keys; k++) {
        printf(" ");
        tt_print_plain(stdout, text_at(row, keys[k]), SIZE_MAX);
    }
    printf("\n");
}

static void print_rows(const json_t *report, double at_s, const char *out, const char *stem)
{
    const json_t *rows = json_object_get(report, "decisions"), *row;
    size_t i, count = 0;
    printf("  in ");
    tt_print_plain(stdout, out, SIZE_MAX);
    printf("/sheets/");
    tt_print_plain(stdout, stem, SIZE_MAX);
    printf(".csv:\n");
    json_array_foreach(rows, i, row)
    {
        double start = json_number_value(json_object_get(row, "start_s")),
               end = json_number_value(json_object_get(row, "end_s"));
        if (end < at_s - near_s || start > at_s + near_s)
            continue;
        print_row(row);
        count++;
    }
    if (count == 0)
        printf("  no row within %.0f s\n", near_s);
}

/* The results' folder, and what a run said of them. */
static json_t *open_results(const char *place, char **out, struct tt_error *err)
{
    json_t *session = NULL;
    *out = tt_out_find(place, err);
    if (*out && !(session = read_json(*out, "session.json", err)))
        err->kind = TT_ERROR_USAGE;
    return session;
}

/* session.json shows bytes of a name that are no UTF-8 as U+FFFD: a report whose name reads so is meant. The caller's;
 * NULL without memory. */
static char *report_name(const char *out, const char *stem)
{
    char *name = tt_format("report/%s.json", stem), *path = name ? tt_path_join(out, name) : NULL,
         *folder = tt_path_join(out, "report");
    DIR *dir = path && folder && !tt_file_exists(path) ? opendir(folder) : NULL;
    for (struct dirent *entry; dir && (entry = readdir(dir));) {
        struct tt_text shown = {0};
        tt_text_add(&shown, "report/");
        tt_utf8_add(&shown, entry->d_name);
        const bool is_meant = !shown.has_failed && strcmp(shown.data, name) == 0;
        tt_text_free(&shown);
        if (!is_meant)
            continue;
        free(name);
        name = tt_format("report/%s", entry->d_name);
        break;
    }
    if (dir)
        closedir(dir);
    free(path);
    free(folder);
    return name;
}

static int locate_in(const char *out, const json_t *session, int64_t ms)
{
    struct tt_error error = {0};
    const json_t *takes = json_object_get(session, "takes");
    const json_t *narration = json_object_get(session, "narration");
    const double rate = (double)integer_at(narration, "rate_hz");
    if (rate > 0 && (double)ms / 1000 >= (double)integer_at(narration, "frames") / rate) {
        char length[TT_TIME_CHARS];
        tt_time_format((int64_t)((double)integer_at(narration, "frames") / rate * 1000), length);
        tt_fail(&error, TT_ERROR_USAGE, "locate: the narration ends at %s; name an earlier time", length);
        return tt_exit_status(&error);
    }
    const json_t *found = NULL;
    double in_voice_s = 0;
    for (size_t i = 0; rate > 0 && i < json_array_size(takes); i++) {
        const json_t *take = json_array_get(takes, i), *start = json_object_get(take, "narration_start_frame");
        if (json_is_integer(start) && (double)json_integer_value(start) / rate <= (double)ms / 1000) {
            found = take;
            in_voice_s = (double)ms / 1000 - (double)json_integer_value(start) / rate;
        }
    }
    int status = TT_EXIT_DONE;
    const char *stem = json_string_value(json_object_get(found, "stem"));
    char *name = stem ? report_name(out, stem) : NULL;
    json_t *report = name ? read_json(out, name, &error) : NULL;
    if (!found || !report) {
        if (!error.kind)
            tt_fail(&error, TT_ERROR_USAGE, "locate: no take is heard at that time of the narration; name a later one");
        status = tt_exit_status(&error);
    } else {
        bool is_made;
        double at_s = source_time_s(report, in_voice_s, &is_made);
        char text[TT_TIME_CHARS];
        tt_time_format((int64_t)(at_s * 1000 + 0.5), text);
        tt_print_plain(stdout, text_at(found, "take"), SIZE_MAX);
        printf("  %s%s\n", text, is_made ? "  (room tone between the words; the last place before it)" : "");
        print_rows(report, at_s, out, stem);
    }
    json_decref(report);
    free(name);
    return status;
}

static int locate(const char *place, int64_t ms)
{
    struct tt_error error = {0};
    char *out;
    json_t *session = open_results(place, &out, &error);
    int status = session ? locate_in(out, session, ms) : tt_exit_status(&error);
    json_decref(session);
    free(out);
    return status;
}

static bool take(void *context, int key, const char *value)
{
    (void)key; /* no options */
    tt_operand_pair_add(context, value);
    return true;
}

static int run(int count, char **arguments)
{
    struct tt_operand_pair pair = {0};
    if (!tt_arguments_read(&tt_command_locate, count, arguments, take, &pair))
        return TT_EXIT_USAGE;
    int64_t ms;
    if (pair.given != 2) {
        tt_complain(
            "locate: name a session, or the results of a run, and a time in its narration: tidytake locate hive 0:52");
        return TT_EXIT_USAGE;
    }
    if (!tt_time_parse(pair.operands[1], &ms, NULL) || ms < 0) {
        tt_complain("locate: must be a time such as 1:02:03.5, 2:03 or 123");
        return TT_EXIT_USAGE;
    }
    return locate(pair.operands[0], ms);
}

const struct tt_command tt_command_locate = {
    .name = "locate",
    .arguments = "SESSION|OUT TIME",
    .summary = "which take is heard at a time",
    .run = run,
};
