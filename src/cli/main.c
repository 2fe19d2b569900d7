/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The table of commands. */
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "cli/command.h"
#include "cli/completions.h"
#include "tidytake/tidytake.h"

static const struct tt_command *const commands[] = {&tt_command_clean,    &tt_command_watch,   &tt_command_measure,
                                                    &tt_command_locate,   &tt_command_compare, &tt_command_lengths,
                                                    &tt_command_settings, &tt_command_targets};
enum { COMMAND_COUNT = sizeof commands / sizeof *commands };

static void print_overview(FILE *out)
{
    fprintf(out, "tidytake makes a clean voice track out of a folder of raw narration takes.\n\n");
    for (int i = 0; i < COMMAND_COUNT; i++)
        fprintf(out, "  tidytake %-9s %-17s %s\n", commands[i]->name, commands[i]->arguments, commands[i]->summary);
    fprintf(out, "\n  tidytake COMMAND --help      the options of a command\n  man tidytake                 all of it, "
                 "with examples\n\n"
                 "SESSION is the folder that holds the recordings of one reading; OUT is what a\nrun left of it, by "
                 "default SESSION.tidy. The recordings are only ever read.\n");
}

static int unknown_command(const char *name)
{
    const char *known[COMMAND_COUNT];
    for (int i = 0; i < COMMAND_COUNT; i++)
        known[i] = commands[i]->name;
    const char *nearest = tt_nearest_name(name, known, COMMAND_COUNT);
    char message[512];
    if (!nearest && access(name, F_OK) == 0)
        snprintf(message, sizeof message, "%.200s: no such command; to clean what is there: tidytake clean %.200s",
                 name, name);
    else
        snprintf(message, sizeof message, "%.200s: no such command; %s%s%s", name,
                 nearest ? "did you mean `tidytake " : "see `tidytake --help", nearest ? nearest : "",
                 nearest ? "`?" : "`");
    tt_complain(message);
    return TT_EXIT_USAGE;
}

static int run_command(int argc, char **argv)
{
    if (argc < 2) {
        print_overview(stderr);
        return TT_EXIT_USAGE;
    }
    /* The words of other commands' habits, too: `help clean` is `clean --help`. */
    bool is_help = strcmp(argv[1], "help") == 0;
    for (int i = 0; is_help && argc > 2 && i < COMMAND_COUNT; i++)
        if (strcmp(argv[2], commands[i]->name) == 0) {
            tt_print_help(commands[i]);
            return TT_EXIT_DONE;
        }
    if (is_help && argc > 2)
        return unknown_command(argv[2]);
    if (is_help || strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
        print_overview(stdout);
        return TT_EXIT_DONE;
    }
    if (strcmp(argv[1], "version") == 0 || strcmp(argv[1], "--version") == 0) {
        printf("tidytake %s\n", tt_version());
        return TT_EXIT_DONE;
    }
    if (strcmp(argv[1], "--completions") == 0) {
        if (argc == 3 && tt_print_completions(argv[2], commands, COMMAND_COUNT))
            return TT_EXIT_DONE;
        tt_complain("--completions: for which shell? bash, zsh or fish");
        return TT_EXIT_USAGE;
    }
    for (int i = 0; i < COMMAND_COUNT; i++) {
        if (strcmp(argv[1], commands[i]->name) != 0)
            continue;
        for (int a = 2; a < argc && strcmp(argv[a], "--") != 0; a++)
            if (strcmp(argv[a], "--help") == 0 || strcmp(argv[a], "-h") == 0) {
                tt_print_help(commands[i]);
                return TT_EXIT_DONE;
            }
        return commands[i]->run(argc - 2, argv + 2);
    }
    return unknown_command(argv[1]);
}

/* What could not be said must not pass for done: a full disk behind a redirection shows only here. */
int main(int argc, char **argv)
{
    int status = run_command(argc, argv);
    errno = 0;
    if (fflush(stdout) == 0 && !ferror(stdout))
        return status;
    char message[200];
    snprintf(message, sizeof message, "the output cannot be written: %s",
             errno ? strerror(errno) : "an earlier write failed");
    tt_complain(message);
    return status == TT_EXIT_DONE ? TT_EXIT_SOME_FAILED : status;
}
