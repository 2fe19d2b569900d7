/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake settings: every setting in force, as valid INI. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/settings.h"
#include "cli/command.h"
#include "session/load_settings.h"

enum { OPTION_SETTINGS, OPTION_FOR, OPTION_SET, OPTION_MDOC };

static const struct tt_option options[] = {
    {"--settings", "-s", "FILE", "a settings file, on top of yours and the session's", OPTION_SETTINGS},
    {"--for", NULL, "TARGET", "a delivery target; see `tidytake targets`", OPTION_FOR},
    {"--set", NULL, "SECTION.KEY=VALUE", "one setting, on top of all else; may be repeated", OPTION_SET},
    {"--mdoc", NULL, NULL, "the list for the manual page instead", OPTION_MDOC},
};

static int print_settings(const char *session, const char *file, const char *target, const char *const *assignments, size_t count)
{
    struct tt_settings settings;
    struct tt_setting_origins *origins = calloc(1, sizeof *origins);
    struct tt_error error = {0};
    struct tt_text text = {0};
    int status = TT_EXIT_DONE;
    if (!origins || !tt_settings_load(session, file, target, assignments, count, &settings, origins, &error)) {
        if (!origins)
            snprintf(error.message, sizeof error.message, "out of memory; close other programs, and run again");
        error.kind = TT_ERROR_USAGE;
        status = tt_exit_status(&error);
    } else {
        tt_settings_print(&settings, origins, &text);
        printf("; Every setting in force: what it does, what it may be, and who set it.\n"
               "; Write those that you want otherwise into tidytake.ini beside the recordings,\n"
               "; under the name in brackets, or try one: tidytake clean --set gate.depth_db=10\n\n%s", text.data ? text.data : "");
    }
    tt_text_free(&text);
    free(origins);
    return status;
}

/* The session's folder; -1, or the exit status of wrong use. */
static int take_session(const char *value, const char **session)
{
    struct tt_error error = {0};
    struct stat status;
    if (*session)
        tt_fail(&error, TT_ERROR_USAGE, "settings: one session at a time, not also %s", value);
    else if (stat(value, &status) != 0 || !S_ISDIR(status.st_mode))
        tt_fail(&error, TT_ERROR_USAGE, "settings: %s: no such folder; name the one with the recordings", value);
    *session = value;
    return error.kind ? tt_exit_status(&error) : -1;
}

static int run(int count, char **arguments)
{
    struct tt_argument_walk walk = {.command = &tt_command_settings, .arguments = arguments, .count = count};
    const char *session = NULL, *file = NULL, *target = NULL, *value;
    const char **assignments = calloc((size_t)count + 1, sizeof *assignments);
    size_t assignment_count = 0;
    int key = -1, status = -1;
    while (status < 0 && assignments) {
        enum tt_argument_kind kind = tt_argument_next(&walk, &key, &value);
        if (kind == TT_ARGUMENT_END)
            break;
        if (kind == TT_ARGUMENT_WRONG)
            status = TT_EXIT_USAGE;
        else if (kind == TT_ARGUMENT_OPERAND)
            status = take_session(value, &session);
        else if (key == OPTION_SETTINGS)
            file = value;
        else if (key == OPTION_FOR)
            target = value;
        else if (key == OPTION_SET)
            assignments[assignment_count++] = value;
        else if (key == OPTION_MDOC) {
            struct tt_text text = {0};
            tt_settings_print_mdoc(&text);
            printf("%s", text.data ? text.data : "");
            tt_text_free(&text);
            status = TT_EXIT_DONE;
        }
    }
    if (status < 0)
        status = print_settings(session, file, target, assignments, assignment_count);
    free(assignments);
    return status;
}

const struct tt_command tt_command_settings = {
    .name = "settings",
    .arguments = "[SESSION]",
    .summary = "every setting, and where it came from",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
