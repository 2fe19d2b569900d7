/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a command is: one file each, one row in main.c. */
#ifndef TT_CLI_COMMAND_H
#define TT_CLI_COMMAND_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

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
    const char *arguments; /* "SESSION|TAKE..." */
    const char *summary;   /* one line */
    const struct tt_option *options;
    size_t option_count;
    int (*run)(int argument_count, char **arguments); /* exit status */
};

extern const struct tt_command tt_command_clean, tt_command_watch, tt_command_measure, tt_command_locate,
    tt_command_compare, tt_command_lengths, tt_command_settings, tt_command_targets;

/* Exit statuses of the design. */
enum { TT_EXIT_DONE = 0, TT_EXIT_SOME_FAILED = 1, TT_EXIT_USAGE = 2, TT_EXIT_STOPPED = 130 };

enum { TT_OPERAND = -1 };
/* Takes one argument: an option's key and value, or TT_OPERAND and the operand. False where it is wrong, and that was
 * told. */
typedef bool (*tt_argument_take)(void *context, int key, const char *value);
/* Hands over a command's arguments one by one: options in any place, "--" ends them, "--name=value" works. Wrong use is
 * told on stderr, with the nearest known option, and false returned. */
bool tt_arguments_read(const struct tt_command *command, int count, char **arguments, tt_argument_take take,
                       void *context);

/* The operands of a command that wants two. */
struct tt_operand_pair {
    const char *operands[2];
    int given; /* more than two are counted, not kept */
};
void tt_operand_pair_add(struct tt_operand_pair *pair, const char *operand);

/* One line on stderr, "tidytake: " in front, control characters made harmless. */
void tt_complain(const char *message);
/* A name for a terminal, cut to so many columns: nothing in it steers anything. */
void tt_print_plain(FILE *out, const char *text, size_t most_columns);
/* The exit status for an error: complains, too. */
int tt_exit_status(const struct tt_error *error);
int tt_exit_without_memory(void);

/* The N of --jobs; complains. */
bool tt_jobs_read(const char *text, int *jobs);

void tt_print_help(const struct tt_command *command);

#endif
