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

static int run(int count, char **arguments)
{
    struct tt_argument_walk walk = {.command = &tt_command_lengths, .arguments = arguments, .count = count};
    const char *places[2] = {NULL, NULL}, *value;
    int key = -1, given = 0, format = -1;
    for (;;) {
        enum tt_argument_kind kind = tt_argument_next(&walk, &key, &value);
        if (kind == TT_ARGUMENT_END)
            break;
        if (kind == TT_ARGUMENT_WRONG)
            return TT_EXIT_USAGE;
        if (kind == TT_ARGUMENT_OPTION && format >= 0 && format != key) {
            tt_complain("lengths: either --csv or --json, not both");
            return TT_EXIT_USAGE;
        }
        if (kind == TT_ARGUMENT_OPTION)
            format = key;
        else if (given++ < 2)
            places[given - 1] = value;
    }
    if (given != 2) {
        tt_complain("lengths: name two sessions that were cleaned: tidytake lengths SESSION SESSION");
        return TT_EXIT_USAGE;
    }
    return show(places, format);
}

const struct tt_command tt_command_lengths = {
    .name = "lengths",
    .arguments = "SESSION SESSION",
    .summary = "how much longer one language takes",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
