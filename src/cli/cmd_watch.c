/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake watch: cleans what arrives in a folder, until stopped. */
#include <signal.h>
#include <stdio.h>

#include "cli/command.h"
#include "session/watch.h"

enum { OPTION_OUT, OPTION_SETTINGS, OPTION_FOR, OPTION_JOBS, OPTION_ONCE };

static const struct tt_option options[] = {
    {"--out", "-o", "DIR", "where results go (default: FOLDER.tidy beside it)", OPTION_OUT},
    {"--settings", "-s", "FILE", "a settings file, on top of yours and the session's", OPTION_SETTINGS},
    {"--for", NULL, "TARGET", "a delivery target; see `tidytake targets`", OPTION_FOR},
    {"--jobs", "-j", "N", "processors to keep busy (default: all)", OPTION_JOBS},
    {"--once", NULL, NULL, "do what is there, then end", OPTION_ONCE},
};

static atomic_int stop, reload; /* lock-free, so that a signal may set them (C17 7.14.1.1) */

static void on_stop(int signal_number)
{
    (void)signal_number;
    stop = 1;
}

static void on_reload(int signal_number)
{
    (void)signal_number;
    reload = 1;
}

static void sum_up(void *context, const char *line)
{
    (void)context;
    printf("%s\n", line);
    fflush(stdout);
}

static void note(void *context, const char *line)
{
    (void)context;
    tt_complain(line);
}

static bool take_folder(struct tt_watch_options *watch, const char *folder)
{
    if (watch->folder) {
        tt_complain("watch: one folder at a time; start it once more for the other");
        return false;
    }
    watch->folder = folder;
    return true;
}

static bool take(void *context, int key, const char *value)
{
    struct tt_watch_options *watch = context;
    switch (key) {
    case TT_OPERAND:
        return take_folder(watch, value);
    case OPTION_OUT:
        watch->out = value;
        break;
    case OPTION_SETTINGS:
        watch->settings_file = value;
        break;
    case OPTION_FOR:
        watch->target = value;
        break;
    case OPTION_JOBS:
        return tt_jobs_read(value, &watch->jobs);
    case OPTION_ONCE:
        watch->is_once = true;
        break;
    }
    return true;
}

static int run(int count, char **arguments)
{
    struct tt_watch_options watch = {.stop = &stop, .reload = &reload};
    if (!tt_arguments_read(&tt_command_watch, count, arguments, take, &watch))
        return TT_EXIT_USAGE;
    if (!watch.folder) {
        tt_complain("watch: name the folder in which recordings arrive");
        return TT_EXIT_USAGE;
    }
    struct sigaction stopping = {.sa_handler = on_stop}, reloading = {.sa_handler = on_reload};
    sigaction(SIGINT, &stopping, NULL);
    sigaction(SIGTERM, &stopping, NULL);
    sigaction(SIGHUP, &reloading, NULL);
    struct tt_watch_words words = {.sum_up = sum_up, .note = note};
    struct tt_error error = {0};
    return tt_watch(&watch, &words, &error) ? TT_EXIT_DONE : tt_exit_status(&error);
}

const struct tt_command tt_command_watch = {
    .name = "watch",
    .arguments = "FOLDER",
    .summary = "clean what arrives there, until stopped",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
