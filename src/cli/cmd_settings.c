/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake settings: every setting in force, as valid INI. */
#include <stdio.h>
#include <stdlib.h>
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

struct arguments {
    const char *session, *file, *target;
    const char **assignments;
    size_t assignment_count;
    bool wants_mdoc;
};

static int print_settings(const struct arguments *from)
{
    struct tt_settings settings;
    struct tt_setting_origins *origins = calloc(1, sizeof *origins);
    struct tt_error error = {0};
    struct tt_text text = {0};
    int status = TT_EXIT_DONE;
    if (!origins || !tt_settings_load(from->session, from->file, from->target, from->assignments,
                                      from->assignment_count, &settings, origins, &error)) {
        if (!origins)
            tt_fail_memory(&error);
        error.kind = TT_ERROR_USAGE;
        status = tt_exit_status(&error);
    } else {
        tt_settings_print(&settings, origins, &text);
        printf("; Every setting in force: what it does, what it may be, and who set it.\n"
               "; Write those that you want otherwise into tidytake.ini beside the recordings,\n"
               "; under the name in brackets, or try one: tidytake clean --set gate.depth_db=10\n\n%s",
               text.data ? text.data : "");
    }
    tt_text_free(&text);
    free(origins);
    return status;
}

static int print_mdoc(void)
{
    struct tt_text text = {0};
    tt_settings_print_mdoc(&text);
    printf("%s", text.data ? text.data : "");
    tt_text_free(&text);
    return TT_EXIT_DONE;
}

static bool take_session(struct arguments *arguments, const char *folder)
{
    struct tt_error error = {0};
    struct stat status;
    if (arguments->session)
        tt_fail(&error, TT_ERROR_USAGE, "settings: one session at a time, not also %s", folder);
    else if (stat(folder, &status) != 0 || !S_ISDIR(status.st_mode))
        tt_fail(&error, TT_ERROR_USAGE, "settings: %s: no such folder; name the one with the recordings", folder);
    if (error.kind)
        tt_complain(error.message);
    arguments->session = folder;
    return !error.kind;
}

static bool take(void *context, int key, const char *value)
{
    struct arguments *arguments = context;
    switch (key) {
    case TT_OPERAND:
        return take_session(arguments, value);
    case OPTION_SETTINGS:
        arguments->file = value;
        break;
    case OPTION_FOR:
        arguments->target = value;
        break;
    case OPTION_SET:
        arguments->assignments[arguments->assignment_count++] = value;
        break;
    case OPTION_MDOC:
        arguments->wants_mdoc = true;
        break;
    }
    return true;
}

static int run(int count, char **words)
{
    struct arguments arguments = {.assignments = calloc((size_t)count + 1, sizeof *arguments.assignments)};
    int status = TT_EXIT_USAGE;
    if (!arguments.assignments)
        status = tt_exit_without_memory();
    else if (tt_arguments_read(&tt_command_settings, count, words, take, &arguments))
        status = arguments.wants_mdoc ? print_mdoc() : print_settings(&arguments);
    free(arguments.assignments);
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
