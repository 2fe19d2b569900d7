/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "cli/command.h"

#include <stdio.h>
#include <string.h>

#include "base/fail.h"
#include "base/text.h"

void tt_complain(const char *message)
{
    char line[1024];
    snprintf(line, sizeof line, "%s", message);
    tt_make_one_line(line);
    fprintf(stderr, "tidytake: %s\n", line);
}

void tt_print_plain(FILE *out, const char *text, size_t most_columns)
{
    for (; *text && most_columns > 0; most_columns--) {
        const size_t whole = tt_utf8_length(text), plain = tt_plain_length(text);
        fwrite(plain > 0 ? text : "?", 1, plain > 0 ? plain : 1, out);
        text += whole > 0 ? whole : 1;
    }
}

int tt_exit_status(const struct tt_error *error)
{
    tt_complain(error->message);
    if (error->kind == TT_ERROR_STOPPED)
        return TT_EXIT_STOPPED;
    return error->kind == TT_ERROR_USAGE ? TT_EXIT_USAGE : TT_EXIT_SOME_FAILED;
}

int tt_exit_without_memory(void)
{
    struct tt_error error = {0};
    tt_fail_memory(&error);
    return tt_exit_status(&error);
}

bool tt_jobs_read(const char *text, int *jobs)
{
    double value;
    if (tt_number_parse(text, &value) && value >= 1 && value <= 1024 && value == (int)value) {
        *jobs = (int)value;
        return true;
    }
    tt_complain("--jobs: must be a whole number from 1 to 1024");
    return false;
}

static const struct tt_option *find_option(const struct tt_command *command, const char *name, size_t length)
{
    for (size_t i = 0; i < command->option_count; i++) {
        const struct tt_option *option = &command->options[i];
        if ((strlen(option->name) == length && strncmp(option->name, name, length) == 0) ||
            (option->short_name && strlen(option->short_name) == length &&
             strncmp(option->short_name, name, length) == 0))
            return option;
    }
    return NULL;
}

static bool wrong_option(const struct tt_command *command, const char *name)
{
    const char *known[32] = {"--help"}, *values[32];
    size_t count = 1, value_count = 0;
    for (size_t i = 0; i < command->option_count && count < sizeof known / sizeof *known; i++) {
        known[count++] = command->options[i].name;
        values[value_count++] = command->options[i].value ? command->options[i].value : "";
    }
    const char *nearest = tt_nearest_name(name, known, count),
               *meant = nearest ? NULL : tt_nearest_name(name + strspn(name, "-"), values, value_count);
    for (size_t i = 0; meant && !nearest; i++) /* --target web: the value's name for the option's */
        nearest = values[i] == meant ? command->options[i].name : NULL;
    char message[512];
    if (nearest)
        snprintf(message, sizeof message, "%.200s: no such option of `tidytake %s`; did you mean %s%s%s?", name,
                 command->name, nearest, meant ? " " : "", meant ? meant : "");
    else
        snprintf(message, sizeof message, "%.200s: no such option; see `tidytake %s --help`", name, command->name);
    tt_complain(message);
    return false;
}

static bool complain_of(const char *format, const char *name, const char *other)
{
    char message[512];
    snprintf(message, sizeof message, format, name, other);
    tt_complain(message);
    return false;
}

/* arguments[*at] is an option; *at moves on over its value. */
static bool read_option(const struct tt_command *command, int count, char **arguments, int *at, tt_argument_take take,
                        void *context)
{
    const char *argument = arguments[*at], *value = NULL;
    const bool is_short = argument[1] != '-';
    const char *equals = is_short ? NULL : strchr(argument, '=');
    const size_t length = equals ? (size_t)(equals - argument) : strlen(argument);
    /* A short option's value may stand right behind it: -j2. */
    const bool has_value = equals || (is_short && length > 2);
    const struct tt_option *option = find_option(command, argument, is_short ? 2 : length);
    if (!option)
        return wrong_option(command, argument);
    if (has_value && !option->value)
        return is_short ? complain_of("%.200s: write each option by itself, and %s without a value", argument,
                                      option->short_name)
                        : complain_of("%s: takes no value%s", option->name, "");
    if (has_value)
        value = equals ? equals + 1 : argument + 2;
    else if (option->value && *at + 1 >= count)
        return complain_of("%1$s: needs a value: %1$s %2$s", option->name, option->value);
    else if (option->value)
        value = arguments[++*at];
    return take(context, option->key, value);
}

bool tt_arguments_read(const struct tt_command *command, int count, char **arguments, tt_argument_take take,
                       void *context)
{
    bool only_operands = false;
    for (int at = 0; at < count; at++) {
        const char *argument = arguments[at];
        if (!only_operands && strcmp(argument, "--") == 0) {
            only_operands = true;
            continue;
        }
        const bool is_operand = only_operands || argument[0] != '-' || argument[1] == '\0';
        if (is_operand ? !take(context, TT_OPERAND, argument)
                       : !read_option(command, count, arguments, &at, take, context))
            return false;
    }
    return true;
}

void tt_operand_pair_add(struct tt_operand_pair *pair, const char *operand)
{
    if (pair->given < 2)
        pair->operands[pair->given] = operand;
    pair->given++;
}

void tt_print_help(const struct tt_command *command)
{
    printf("tidytake %s%s%s%s\n\n%s\n", command->name, command->option_count ? " [OPTION...]" : "",
           *command->arguments ? " " : "", command->arguments, command->summary);
    if (command->option_count)
        printf("\n");
    for (size_t i = 0; i < command->option_count; i++) {
        const struct tt_option *option = &command->options[i];
        char left[64];
        snprintf(left, sizeof left, "%s%s%s%s%s", option->short_name ? option->short_name : "",
                 option->short_name ? ", " : "", option->name, option->value ? " " : "",
                 option->value ? option->value : "");
        printf("  %-26s %s\n", left, option->help);
    }
    printf("\nMore about it, with examples: man tidytake\n");
}
