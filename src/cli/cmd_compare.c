/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake compare: any two recordings of one reading on the page on which a take is heard before and after. */
#include <stdio.h>
#include <stdlib.h>

#include "base/text.h"
#include "cli/command.h"
#include "session/compare.h"

enum { OPTION_OUT };

struct arguments {
    struct tt_operand_pair pair;
    const char *out;
};

static const struct tt_option options[] = {
    {"--out", "-o", "DIR", "where the page goes (default: AFTER.compare)", OPTION_OUT},
};

static bool take(void *context, int key, const char *value)
{
    struct arguments *arguments = context;
    if (key == OPTION_OUT)
        arguments->out = value;
    else
        tt_operand_pair_add(&arguments->pair, value);
    return true;
}

static int run(int count, char **words)
{
    struct arguments arguments = {0};
    if (!tt_arguments_read(&tt_command_compare, count, words, take, &arguments))
        return TT_EXIT_USAGE;
    if (arguments.pair.given != 2) {
        tt_complain("compare: name two recordings of the same reading, first the one before, then the one after");
        return TT_EXIT_USAGE;
    }
    struct tt_compare_request request = {
        .before = arguments.pair.operands[0], .after = arguments.pair.operands[1], .out = arguments.out};
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
