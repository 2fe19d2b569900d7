/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a command is: one file each, one row in main.c. */
#ifndef TT_CLI_COMMAND_H
#define TT_CLI_COMMAND_H

#include <stdbool.h>
#include <stddef.h>

#include "tidytake/error.h"

/* One option of a command. */
struct tt_option {
    const char *name;       /* "--out" */
    const char *short_name; /* "-o", or NULL */
    const char *value;      /* "DIR": it takes a value; NULL: it does not */
    const char *help;       /* one line */
    int key;                /* for the command's own switch */
};

struct tt_command {
    const char *name;
    const char *arguments;  /* "SESSION|TAKE..." */
    const char *summary;    /* one line */
    const struct tt_option *options;
    size_t option_count;
    int (*run)(int argument_count, char **arguments); /* exit status */
};

extern const struct tt_command tt_command_clean, tt_command_watch, tt_command_measure, tt_command_locate, tt_command_compare, tt_command_lengths, tt_command_settings, tt_command_targets;

/* Exit statuses of the design. */
enum { TT_EXIT_DONE = 0, TT_EXIT_SOME_FAILED = 1, TT_EXIT_USAGE = 2, TT_EXIT_STOPPED = 130 };

/* Walks over a command's arguments: options in any place, "--" ends them, "--name=value" works. */
struct tt_argument_walk {
    const struct tt_command *command;
    char **arguments;
    int count, at;
    bool only_operands;
};
enum tt_argument_kind { TT_ARGUMENT_END, TT_ARGUMENT_OPTION, TT_ARGUMENT_OPERAND, TT_ARGUMENT_WRONG };
/* The next argument: *key and *value of an option, *value of an operand. Wrong use is told on stderr, with the nearest known option. */
enum tt_argument_kind tt_argument_next(struct tt_argument_walk *walk, int *key, const char **value);

/* One line on stderr, "tidytake: " in front, control characters made harmless. */
void tt_complain(const char *message);
/* The exit status for an error: complains, too. */
int tt_exit_status(const struct tt_error *error);

/* The N of --jobs; complains. */
bool tt_jobs_read(const char *text, int *jobs);

void tt_print_help(const struct tt_command *command);

#endif
