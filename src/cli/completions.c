/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "cli/completions.h"

#include <stdio.h>
#include <string.h>

#include "base/settings.h"
#include "base/targets.h"

/* What may stand behind an option, read from the word that its help shows for the value. */
enum value_kind { VALUE_NONE, VALUE_FREE, VALUE_FILE, VALUE_FOLDER, VALUE_TARGET, VALUE_SETTING };

static enum value_kind kind_of_value(const struct tt_option *option)
{
    static const struct {
        const char *value;
        enum value_kind kind;
    } kinds[] = {
        {"FILE", VALUE_FILE}, {"DIR", VALUE_FOLDER}, {"TARGET", VALUE_TARGET}, {"SECTION.KEY=VALUE", VALUE_SETTING}};
    if (!option->value)
        return VALUE_NONE;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
        if (strcmp(option->value, kinds[i].value) == 0)
            return kinds[i].kind;
    return VALUE_FREE;
}

static void print_targets(const char *between)
{
    size_t count;
    const struct tt_target *targets = tt_targets(&count);
    for (size_t i = 0; i < count; i++)
        printf("%s%s", i ? between : "", targets[i].name);
}

static void print_settings(const char *between, const char *behind)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++)
        printf("%s%s.%s%s", i ? between : "", rows[i].section, rows[i].key, behind);
}

/* Summaries and help hold apostrophes; all three shells close, escape and open a single-quoted string alike. */
static void print_quoted(const char *text)
{
    putchar('\'');
    for (; *text; text++)
        if (*text == '\'')
            fputs("'\\''", stdout);
        else
            putchar(*text);
    putchar('\'');
}

/* ---- bash ---- */

static void print_bash_values(const struct tt_command *command)
{
    printf("        %s)\n            case $before in\n", command->name);
    for (size_t i = 0; i < command->option_count; i++) {
        const struct tt_option *option = &command->options[i];
        enum value_kind kind = kind_of_value(option);
        if (kind == VALUE_NONE)
            continue;
        printf("                %s%s%s) ", option->name, option->short_name ? "|" : "",
               option->short_name ? option->short_name : "");
        if (kind == VALUE_TARGET)
            printf("mapfile -t COMPREPLY < <(compgen -W \"$targets\" -- \"$word\"); return ;;\n");
        else if (kind == VALUE_SETTING)
            printf("compopt -o nospace; mapfile -t COMPREPLY < <(compgen -W \"$settings\" -- \"$word\"); return ;;\n");
        else if (kind == VALUE_FOLDER)
            printf("compopt -o filenames; mapfile -t COMPREPLY < <(compgen -d -- \"$word\"); return ;;\n");
        else if (kind == VALUE_FILE)
            printf("compopt -o filenames; mapfile -t COMPREPLY < <(compgen -f -- \"$word\"); return ;;\n");
        else
            printf("COMPREPLY=(); return ;;\n");
    }
    printf("            esac\n            options=\"");
    for (size_t i = 0; i < command->option_count; i++)
        printf("%s ", command->options[i].name);
    printf("--help\" ;;\n");
}

static void print_bash(const struct tt_command *const *commands, size_t count)
{
    printf(
        "# bash completion of tidytake, made from its tables: tidytake --completions bash\n_tidytake()\n{\n"
        "    local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} options=\n    local targets=\"");
    print_targets(" ");
    printf("\"\n    local settings=\"");
    print_settings(" ", "=");
    printf(
        "\"\n    COMPREPLY=()\n    if [ \"$COMP_CWORD\" -eq 1 ]; then\n        mapfile -t COMPREPLY < <(compgen -W \"");
    for (size_t i = 0; i < count; i++)
        printf("%s ", commands[i]->name);
    printf("--help --version\" -- \"$word\")\n        return\n    fi\n    case ${COMP_WORDS[1]} in\n");
    for (size_t i = 0; i < count; i++)
        print_bash_values(commands[i]);
    printf("    esac\n    if [[ $word == -* ]]; then\n        mapfile -t COMPREPLY < <(compgen -W \"$options\" -- "
           "\"$word\")\n    else\n"
           "        compopt -o filenames\n        mapfile -t COMPREPLY < <(compgen -f -- \"$word\")\n    "
           "fi\n}\ncomplete -F _tidytake tidytake\n");
}

/* ---- zsh ---- */

/* In a spec of _arguments brackets and colons have a meaning. */
static void print_zsh_help(const char *text)
{
    for (; *text; text++) {
        if (*text == '[' || *text == ']' || *text == ':')
            putchar('\\');
        fputs(*text == '\'' ? "'\\''" : (char[]){*text, '\0'}, stdout);
    }
}

static void print_zsh_option(const struct tt_option *option, const char *name, bool is_long)
{
    static const char *const actions[] = {[VALUE_FREE] = " ",
                                          [VALUE_FILE] = "_files",
                                          [VALUE_FOLDER] = "_files -/",
                                          [VALUE_TARGET] = "($targets)",
                                          [VALUE_SETTING] = "($settings)"};
    enum value_kind kind = kind_of_value(option);
    /* Double quotes where a list is to be put in by the shell. */
    printf(" \\\n                \"%s%s%s\"'[", kind == VALUE_SETTING ? "*" : "", name,
           kind == VALUE_NONE ? ""
           : is_long          ? "="
                              : "+");
    print_zsh_help(option->help);
    printf("]'");
    if (kind != VALUE_NONE)
        printf("\":value:%s\"", actions[kind]);
}

static void print_zsh(const struct tt_command *const *commands, size_t count)
{
    printf("#compdef tidytake\n# zsh completion of tidytake, made from its tables: tidytake --completions "
           "zsh\n_tidytake()\n{\n    local targets=\"");
    print_targets(" ");
    printf("\" settings=\"");
    print_settings(" ", "=");
    printf("\"\n    local -a commands=(\n");
    for (size_t i = 0; i < count; i++) {
        printf("        ");
        char row[256];
        snprintf(row, sizeof row, "%s:%s", commands[i]->name, commands[i]->summary);
        print_quoted(row);
        printf("\n");
    }
    printf("    )\n    if (( CURRENT == 2 )); then\n        _describe command commands\n        return\n    fi\n    "
           "local command=${words[2]}\n"
           "    shift words\n    (( CURRENT-- ))\n    case $command in\n");
    for (size_t i = 0; i < count; i++) {
        printf("        %s)\n            _arguments", commands[i]->name);
        for (size_t o = 0; o < commands[i]->option_count; o++) {
            const struct tt_option *option = &commands[i]->options[o];
            print_zsh_option(option, option->name, true);
            if (option->short_name)
                print_zsh_option(option, option->short_name, false);
        }
        printf(" \\\n                '*:file:_files' ;;\n");
    }
    printf("    esac\n}\n_tidytake \"$@\"\n");
}

/* ---- fish ---- */

static void print_fish_option(const struct tt_command *command, const struct tt_option *option)
{
    printf("complete -c tidytake -n '__fish_seen_subcommand_from %s' -l %s", command->name, option->name + 2);
    if (option->short_name)
        printf(" -s %s", option->short_name + 1);
    switch (kind_of_value(option)) {
    case VALUE_NONE:
        break;
    case VALUE_FREE:
        printf(" -x");
        break;
    case VALUE_FILE:
        printf(" -r -F");
        break;
    case VALUE_FOLDER:
        printf(" -x -a '(__fish_complete_directories)'");
        break;
    case VALUE_TARGET:
        printf(" -x -a '");
        print_targets(" ");
        printf("'");
        break;
    case VALUE_SETTING:
        printf(" -x -a '");
        print_settings(" ", "=");
        printf("'");
        break;
    }
    printf(" -d ");
    print_quoted(option->help);
    printf("\n");
}

static void print_fish(const struct tt_command *const *commands, size_t count)
{
    printf("# fish completion of tidytake, made from its tables: tidytake --completions fish\n");
    for (size_t i = 0; i < count; i++) {
        printf("complete -c tidytake -n __fish_use_subcommand -f -a %s -d ", commands[i]->name);
        print_quoted(commands[i]->summary);
        printf("\n");
        for (size_t o = 0; o < commands[i]->option_count; o++)
            print_fish_option(commands[i], &commands[i]->options[o]);
    }
}

bool tt_print_completions(const char *shell, const struct tt_command *const *commands, size_t count)
{
    static const struct {
        const char *shell;
        void (*print)(const struct tt_command *const *commands, size_t count);
    } scripts[] = {{"bash", print_bash}, {"zsh", print_zsh}, {"fish", print_fish}};
    for (size_t i = 0; i < sizeof scripts / sizeof *scripts; i++)
        if (strcmp(shell, scripts[i].shell) == 0) {
            scripts[i].print(commands, count);
            return true;
        }
    return false;
}
