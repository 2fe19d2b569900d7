/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake compare: any two recordings of one reading on the page on which a take is heard before and after. */
#include <stdio.h>
#include <stdlib.h>

#include "base/text.h"
#include "cli/command.h"
#include "session/compare.h"

enum { OPTION_OUT };

static const struct tt_option options[] = {
    {"--out", "-o", "DIR", "where the page goes (default: AFTER.compare)", OPTION_OUT},
};

static int run(int count, char **arguments)
{
    struct tt_argument_walk walk = {.command = &tt_command_compare, .arguments = arguments, .count = count};
    struct tt_compare_request request = {0};
    const char *value, *paths[2];
    size_t path_count = 0;
    int key = -1;
    for (;;) {
        enum tt_argument_kind kind = tt_argument_next(&walk, &key, &value);
        if (kind == TT_ARGUMENT_END)
            break;
        if (kind == TT_ARGUMENT_WRONG)
            return TT_EXIT_USAGE;
        if (kind == TT_ARGUMENT_OPTION)
            request.out = value;
        else if (path_count < 2)
            paths[path_count++] = value;
        else
            path_count++;
    }
    if (path_count != 2) {
        tt_complain("compare: name two recordings of the same reading, first the one before, then the one after");
        return TT_EXIT_USAGE;
    }
    request.before = paths[0];
    request.after = paths[1];
    struct tt_compared compared;
    struct tt_error error = {0};
    if (!tt_compare(&request, &compared, &error))
        return tt_exit_status(&error);
    /* Names may hold anything. */
    tt_make_one_line(compared.sentence);
    tt_make_one_line(compared.page);
    printf("%s\n%s\n", compared.sentence, compared.page);
    free(compared.page);
    return TT_EXIT_DONE;
}

const struct tt_command tt_command_compare = {
    .name = "compare",
    .arguments = "BEFORE AFTER",
    .summary = "hear and see two recordings side by side",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
