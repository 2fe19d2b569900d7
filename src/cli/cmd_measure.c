/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake measure: levels of any sound files, a verdict on the room, a judgement against a target. */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/targets.h"
#include "cli/command.h"
#include "pipeline/judge.h"
#include "pipeline/measure.h"

enum { OPTION_FOR, OPTION_JSON };

static const struct tt_option options[] = {
    {"--for", NULL, "TARGET", "pass or fail by a target; exit status 1 on a fail", OPTION_FOR},
    {"--json", NULL, NULL, "figures for programs on standard output", OPTION_JSON},
};

/* ---- output ---- */

static json_t *number(double value, double scale)
{
    return isfinite(value) ? json_real(round(value * scale) / scale) : json_null();
}

static json_t *file_object(const char *path, const struct tt_measured *m, const struct tt_target *target, const struct tt_judgement *judgement)
{
    json_t *object = json_object();
    char *name = strdup(path);
    for (char *c = name; c && *c; c++) /* names that are not UTF-8 would not fit into JSON */
        if ((unsigned char)*c < 32)
            *c = '?';
    json_t *text = name ? json_string(name) : NULL;
    json_object_set_new(object, "path", text ? text : json_string("?"));
    free(name);
    json_object_set_new(object, "format", json_string(m->info.format_name));
    json_object_set_new(object, "rate_hz", json_integer(m->info.rate_hz));
    json_object_set_new(object, "channels", json_integer(m->info.channel_count));
    json_object_set_new(object, "duration_s", number(m->levels.duration_s, 1e6));
    json_object_set_new(object, "integrated_lufs", number(m->levels.integrated_lufs, 1e3));
    json_object_set_new(object, "loudness_range_lu", number(m->levels.loudness_range_lu, 1e3));
    json_object_set_new(object, "max_momentary_lufs", number(m->levels.max_momentary_lufs, 1e3));
    json_object_set_new(object, "max_short_term_lufs", number(m->levels.max_short_term_lufs, 1e3));
    json_object_set_new(object, "max_true_peak_dbtp", number(m->levels.max_true_peak_dbtp, 1e3));
    json_object_set_new(object, "noise_floor_dbfs", number(m->floor_dbfs, 1e3));
    json_object_set_new(object, "noise_floor_dba", number(m->floor_dba, 1e3));
    json_object_set_new(object, "speech_to_floor_db", number(m->speech_dbfs - m->floor_dbfs, 1e3));
    json_object_set_new(object, "rms_dbfs", number(m->levels.rms_dbfs, 1e3));
    json_object_set_new(object, "voice_decay_db_per_s", number(m->decay_db_per_s, 1e1));
    json_object_set_new(object, "pace_syllables_per_s", number(m->syllables_per_s, 1e3));
    json_object_set_new(object, "verdict", json_string(m->verdict));
    json_t *warnings = json_array();
    for (size_t i = 0; i < m->remark_count; i++)
        json_array_append_new(warnings, json_pack("{s:s,s:s,s:o}", "code", m->remarks[i].code, "message", m->remarks[i].message, "at_s", number(m->remarks[i].at_s, 1e3)));
    json_object_set_new(object, "warnings", warnings);
    if (target) {
        json_t *failed = json_array(), *messages = json_array();
        for (size_t i = 0; i < judgement->failed_count; i++) {
            json_array_append_new(failed, json_string(judgement->failed[i]));
            json_array_append_new(messages, json_string(judgement->lines[i]));
        }
        json_object_set_new(object, "target", json_pack("{s:s,s:b,s:o,s:o}", "name", target->name, "pass", judgement->failed_count == 0, "failed", failed,
                                                        "messages", messages));
    }
    return object;
}

static void print_level(const char *what, double value, const char *unit)
{
    if (isfinite(value))
        printf("  %-22s %8.1f %s\n", what, value, unit);
    else
        printf("  %-22s %8s\n", what, "-");
}

static void print_file(const char *path, const struct tt_measured *m, const struct tt_target *target, const struct tt_judgement *judgement)
{
    for (const char *c = path; *c; c++)
        putchar((unsigned char)*c < 32 || *c == 127 ? '?' : *c);
    printf("\n  %s\n", m->verdict);
    printf("  %-22s %s, %d Hz, %s\n", "format", m->info.format_name, m->info.rate_hz, m->channel_why);
    for (size_t i = 0; i < m->remark_count; i++)
        printf("  %s\n", m->remarks[i].message);
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
        printf("  passes %s (%s)\n", target->name, target->source);
    for (size_t i = 0; target && i < judgement->failed_count; i++)
        printf("  fails %s: %s\n", target->name, judgement->lines[i]);
}

/* A folder is a session: what it holds is measured by name. */
static bool is_folder(const char *path)
{
    struct stat status;
    if (stat(path, &status) != 0 || !S_ISDIR(status.st_mode))
        return false;
    char *message = tt_format("%s: is a folder: name the files in it (%s/*.wav), or let `tidytake clean` work on all of it", path, path);
    tt_complain(message ? message : path);
    free(message);
    return true;
}

static int measure_files(char **paths, size_t count, const struct tt_target *target, bool is_json)
{
    int status = TT_EXIT_DONE;
    json_t *files = json_array();
    struct tt_settings settings;
    tt_settings_default(&settings);
    const char *folder = getenv("TMPDIR") && getenv("TMPDIR")[0] ? getenv("TMPDIR") : "/tmp";
    char *scratch = tt_format("%s/tidytake-measure-%ld.bin", folder, (long)getpid());
    for (size_t i = 0; i < count && scratch; i++) {
        struct tt_measured measured;
        struct tt_judgement judgement = {0};
        struct tt_error error = {0};
        if (is_folder(paths[i])) {
            status = TT_EXIT_SOME_FAILED;
            continue;
        }
        if (!tt_measure(paths[i], &settings, scratch, &measured, &error)) {
            if (strncmp(error.message, paths[i], strlen(paths[i])) != 0)
                tt_error_context(&error, "%s", paths[i]);
            tt_complain(error.message);
            status = TT_EXIT_SOME_FAILED;
            continue;
        }
        if (target)
            tt_judge(target, &(struct tt_judged){.levels = &measured.levels, .floor_dbfs = measured.floor_dbfs, .rate_hz = measured.info.rate_hz}, &judgement);
        if (judgement.failed_count)
            status = TT_EXIT_SOME_FAILED;
        if (is_json)
            json_array_append_new(files, file_object(paths[i], &measured, target, &judgement));
        else
            print_file(paths[i], &measured, target, &judgement);
    }
    if (is_json) {
        json_t *all = json_pack("{s:O}", "files", files);
        char *text = json_dumps(all, JSON_INDENT(1) | JSON_REAL_PRECISION(9));
        printf("%s\n", text ? text : "");
        free(text);
        json_decref(all);
    }
    json_decref(files);
    free(scratch);
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
    case TT_OPERAND: arguments->paths[arguments->path_count++] = (char *)value; break;
    case OPTION_FOR: arguments->target_name = value; break;
    case OPTION_JSON: arguments->is_json = true; break;
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
