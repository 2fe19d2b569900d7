/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake lengths: two sessions of one script side by side, by length and pace. */
#include <stdio.h>

#include "cli/command.h"
#include "session/lengths.h"

enum { OPTION_CSV, OPTION_JSON };

static const struct tt_option options[] = {
    {"--csv", NULL, NULL, "a table for a spreadsheet on standard output", OPTION_CSV},
    {"--json", NULL, NULL, "figures for programs on standard output", OPTION_JSON},
};

static int show(const char *const places[2], int format)
{
    struct tt_lengths lengths;
    struct tt_error error = {0};
    struct tt_text text = {0};
    bool ok = tt_lengths_read(places, &lengths, &error);
    if (ok && format == OPTION_JSON)
        ok = tt_lengths_json(&lengths, &text, &error);
    else if (ok && format == OPTION_CSV)
        tt_lengths_csv(&lengths, &text);
    else if (ok)
        tt_lengths_table(&lengths, &text);
    ok = ok && (!text.has_failed || tt_fail_memory(&error));
    if (ok)
        printf("%s", text.data ? text.data : "");
    tt_text_free(&text);
    tt_lengths_free(&lengths);
    return ok ? TT_EXIT_DONE : tt_exit_status(&error);
}

struct arguments {
    struct tt_operand_pair places;
    int format; /* an option's key; -1: a table to read */
};

static bool take(void *context, int key, const char *value)
{
    struct arguments *arguments = context;
    if (key == TT_OPERAND) {
        tt_operand_pair_add(&arguments->places, value);
        return true;
    }
    if (arguments->format >= 0 && arguments->format != key) {
        tt_complain("lengths: either --csv or --json, not both");
        return false;
    }
    arguments->format = key;
    return true;
}

static int run(int count, char **words)
{
    struct arguments arguments = {.format = -1};
    if (!tt_arguments_read(&tt_command_lengths, count, words, take, &arguments))
        return TT_EXIT_USAGE;
    if (arguments.places.given != 2) {
        tt_complain("lengths: name two sessions that were cleaned: tidytake lengths SESSION SESSION");
        return TT_EXIT_USAGE;
    }
    return show(arguments.places.operands, arguments.format);
}

const struct tt_command tt_command_lengths = {
    .name = "lengths",
    .arguments = "SESSION SESSION",
    .summary = "how much longer one language takes",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
