/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Completion scripts for shells, made from the tables of commands, targets and settings so that they cannot fall
 * behind. */
#ifndef TT_CLI_COMPLETIONS_H
#define TT_CLI_COMPLETIONS_H

#include "cli/command.h"

/* Prints the script for "bash", "zsh" or "fish" on standard output; false when the shell is another. */
bool tt_print_completions(const char *shell, const struct tt_command *const *commands, size_t count);

#endif
