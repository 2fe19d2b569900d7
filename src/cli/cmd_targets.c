/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake targets: delivery targets, each with its source. */
#include <stdio.h>

#include "base/targets.h"
#include "cli/command.h"

static int run(int count, char **arguments)
{
    if (count > 0) {
        char message[300];
        snprintf(message, sizeof message, "targets: takes no arguments, got '%.200s'", arguments[0]);
        tt_complain(message);
        return TT_EXIT_USAGE;
    }
    struct tt_text text = {0};
    tt_targets_print(&text);
    printf("%s", text.data ? text.data : "");
    tt_text_free(&text);
    return TT_EXIT_DONE;
}

const struct tt_command tt_command_targets = {
    .name = "targets",
    .arguments = "",
    .summary = "delivery targets, each with its source",
    .run = run,
};
