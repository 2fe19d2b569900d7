/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake measure: levels of any sound files, a verdict on the room, a judgement against a target. */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/targets.h"
#include "cli/command.h"
#include "pipeline/judge.h"
#include "pipeline/measure.h"
#include "report/json_values.h"
#include "report/summary_text.h"

enum { OPTION_FOR, OPTION_JSON };

static const struct tt_option options[] = {
    {"--for", NULL, "TARGET", "pass or fail by a target; exit status 1 on a fail", OPTION_FOR},
    {"--json", NULL, NULL, "figures for programs on standard output", OPTION_JSON},
};

/* ---- output ---- */

static json_t *warnings_of(const struct tt_measured *m)
{
    json_t *warnings = json_array();
    for (size_t i = 0; i < m->remark_count; i++)
        if (!tt_json_push(warnings, tt_json_warning(m->remarks[i].code, m->remarks[i].message, m->remarks[i].at_s))) {
            json_decref(warnings);
            return NULL;
        }
    return warnings;
}

static json_t *judgement_of(const struct tt_target *target, const struct tt_judgement *judgement)
{
    json_t *failed = json_array(), *messages = json_array(), *object = json_object();
    bool ok = true;
    for (size_t i = 0; ok && i < judgement->failed_count; i++)
        ok = tt_json_push(failed, json_string(judgement->failed[i])) &&
             tt_json_push(messages, json_string(judgement->lines[i]));
    ok = tt_json_put(object, "name", json_string(target->name)) &&
         tt_json_put(object, "pass", json_boolean(judgement->failed_count == 0)) && ok;
    ok = tt_json_put(object, "failed", failed) && ok;
    ok = tt_json_put(object, "messages", messages) && ok;
    if (ok)
        return object;
    json_decref(object);
    return NULL;
}

/* NULL when out of memory. */
static json_t *file_object(const char *path, const struct tt_measured *m, const struct tt_target *target,
                           const struct tt_judgement *judgement)
{
    const struct {
        const char *key;
        double value;
        int decimals;
    } figures[] = {
        {"duration_s", m->levels.duration_s, TT_DECIMALS_SECONDS},
        {"integrated_lufs", m->levels.integrated_lufs, TT_DECIMALS_LEVEL},
        {"loudness_range_lu", m->levels.loudness_range_lu, TT_DECIMALS_LEVEL},
        {"max_momentary_lufs", m->levels.max_momentary_lufs, TT_DECIMALS_LEVEL},
        {"max_short_term_lufs", m->levels.max_short_term_lufs, TT_DECIMALS_LEVEL},
        {"max_true_peak_dbtp", m->levels.max_true_peak_dbtp, TT_DECIMALS_LEVEL},
        {"noise_floor_dbfs", m->floor_dbfs, TT_DECIMALS_LEVEL},
        {"noise_floor_dba", m->floor_dba, TT_DECIMALS_LEVEL},
        {"speech_to_floor_db", m->speech_dbfs - m->floor_dbfs, TT_DECIMALS_LEVEL},
        {"rms_dbfs", m->levels.rms_dbfs, TT_DECIMALS_LEVEL},
        {"voice_decay_db_per_s", m->decay_db_per_s, 1},
        {"pace_syllables_per_s", m->syllables_per_s, TT_DECIMALS_LEVEL},
    };
    json_t *object = json_object();
    bool ok = tt_json_put(object, "path", tt_json_utf8(path)) &&
              tt_json_put(object, "format", json_string(m->info.format_name)) &&
              tt_json_put(object, "rate_hz", json_integer(m->info.rate_hz)) &&
              tt_json_put(object, "channels", json_integer(m->info.channel_count));
    for (size_t i = 0; ok && i < sizeof figures / sizeof *figures; i++)
        ok = tt_json_put(object, figures[i].key, tt_json_number(figures[i].value, figures[i].decimals));
    ok = ok && tt_json_put(object, "verdict", json_string(m->verdict)) &&
         tt_json_put(object, "warnings", warnings_of(m));
    if (ok && (!target || tt_json_put(object, "target", judgement_of(target, judgement))))
        return object;
    json_decref(object);
    return NULL;
}

static void print_level(const char *what, double value, const char *unit)
{
    if (isfinite(value))
        printf("  %-22s %8.1f %s\n", what, value, unit);
    else
        printf("  %-22s %8s\n", what, "-");
}

/* Broken at the width of a terminal; takes the text over. */
static void print_sentence(char *text)
{
    struct tt_text lines = {0};
    if (text)
        tt_summary_add_lines(&lines, 2, text);
    if (lines.data)
        fputs(lines.data, stdout);
    tt_text_free(&lines);
    free(text);
}

static void print_file(const char *path, const struct tt_measured *m, const struct tt_target *target,
                       const struct tt_judgement *judgement)
{
    tt_print_plain(stdout, path, SIZE_MAX);
    printf("\n");
    print_sentence(tt_copy_string(m->verdict));
    printf("  %-22s %s, %d Hz, %s\n", "format", m->info.format_name, m->info.rate_hz, m->channel_why);
    for (size_t i = 0; i < m->remark_count; i++)
        print_sentence(tt_copy_string(m->remarks[i].message));
    print_level("duration", m->levels.duration_s, "s");
    print_level("integrated loudness", m->levels.integrated_lufs, "LUFS");
    print_level("loudness range", m->levels.loudness_range_lu, "LU");
    print_level("max momentary", m->levels.max_momentary_lufs, "LUFS");
    print_level("max short-term", m->levels.max_short_term_lufs, "LUFS");
    print_level("true peak", m->levels.max_true_peak_dbtp, "dBTP");
    print_level("RMS", m->levels.rms_dbfs, "dBFS");
    print_level("noise floor", m->floor_dbfs, "dBFS");
    print_level("noise floor, weighted", m->floor_dba, "dBFS(A)");
    print_level("voice over floor", m->speech_dbfs - m->floor_dbfs, "dB");
    print_level("pace, pauses left out", m->syllables_per_s, "syllables/s");
    if (target && judgement->failed_count == 0)
        print_sentence(tt_format("passes %s (%s)", target->name, target->source));
    for (size_t i = 0; target && i < judgement->failed_count; i++)
        print_sentence(tt_format("fails %s: %s", target->name, judgement->lines[i]));
}

/* A folder is a session: what it holds is measured by name. */
static bool is_folder(const char *path)
{
    struct stat status;
    if (stat(path, &status) != 0 || !S_ISDIR(status.st_mode))
        return false;
    char *message = tt_format(
        "%s: is a folder: name the files in it (%s/*.wav), or let `tidytake clean` work on all of it", path, path);
    tt_complain(message ? message : path);
    free(message);
    return true;
}

static bool print_json(json_t *files)
{
    json_t *all = json_object();
    struct tt_text text = {0};
    bool ok = tt_json_put(all, "files", json_incref(files)) && tt_report_json_text(all, &text, NULL);
    if (ok)
        fputs(text.data, stdout);
    tt_text_free(&text);
    json_decref(all);
    return ok;
}

static int measure_files(char **paths, size_t count, const struct tt_target *target, bool is_json)
{
    int status = TT_EXIT_DONE;
    bool is_told = true;
    json_t *files = json_array();
    struct tt_settings settings;
    tt_settings_default(&settings);
    const char *named = getenv("TMPDIR"), *folder = named && named[0] ? named : "/tmp";
    for (size_t i = 0; i < count; i++) {
        struct tt_measured measured;
        struct tt_judgement judgement = {0};
        struct tt_error error = {0};
        if (is_folder(paths[i])) {
            status = TT_EXIT_SOME_FAILED;
            continue;
        }
        if (!tt_measure(paths[i], &settings, folder, &measured, &error)) {
            if (strncmp(error.message, paths[i], strlen(paths[i])) != 0)
                tt_error_context(&error, "%s", paths[i]);
            tt_complain(error.message);
            status = TT_EXIT_SOME_FAILED;
            continue;
        }
        if (target)
            tt_judge(target,
                     &(struct tt_judged){.levels = &measured.levels,
                                         .floor_dbfs = measured.floor_dbfs,
                                         .rate_hz = measured.info.rate_hz},
                     &judgement);
        if (judgement.failed_count)
            status = TT_EXIT_SOME_FAILED;
        if (is_json)
            is_told = tt_json_push(files, file_object(paths[i], &measured, target, &judgement)) && is_told;
        else
            print_file(paths[i], &measured, target, &judgement);
    }
    struct tt_error error = {0};
    if (is_json && !(is_told && print_json(files)))
        tt_fail_memory(&error);
    if (error.kind != TT_OK)
        status = tt_exit_status(&error);
    json_decref(files);
    return status;
}

struct arguments {
    char **paths;
    size_t path_count;
    const char *target_name;
    bool is_json;
};

static bool take(void *context, int key, const char *value)
{
    struct arguments *arguments = context;
    switch (key) {
    case TT_OPERAND:
        arguments->paths[arguments->path_count++] = (char *)value;
        break;
    case OPTION_FOR:
        arguments->target_name = value;
        break;
    case OPTION_JSON:
        arguments->is_json = true;
        break;
    }
    return true;
}

/* Says what is known and near. */
static int unknown_target(const char *name)
{
    struct tt_settings settings;
    struct tt_error error = {0};
    tt_settings_default(&settings);
    tt_target_apply(name, &settings, NULL, &error);
    error.kind = TT_ERROR_USAGE;
    return tt_exit_status(&error);
}

static int measure(const struct arguments *arguments)
{
    const struct tt_target *target = arguments->target_name ? tt_target_find(arguments->target_name) : NULL;
    if (arguments->target_name && !target)
        return unknown_target(arguments->target_name);
    if (arguments->path_count == 0) {
        tt_complain("measure: name a sound file at least");
        return TT_EXIT_USAGE;
    }
    return measure_files(arguments->paths, arguments->path_count, target, arguments->is_json);
}

static int run(int count, char **words)
{
    struct arguments arguments = {.paths = calloc((size_t)count + 1, sizeof *arguments.paths)};
    int status = TT_EXIT_USAGE;
    if (!arguments.paths)
        status = tt_exit_without_memory();
    else if (tt_arguments_read(&tt_command_measure, count, words, take, &arguments))
        status = measure(&arguments);
    free(arguments.paths);
    return status;
}

const struct tt_command tt_command_measure = {
    .name = "measure",
    .arguments = "FILE...",
    .summary = "levels, and whether the room will do",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
