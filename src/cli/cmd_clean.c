/* SPDX-License-Identifier: GPL-2.0-or-later */
/* tidytake clean: the whole job. */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "cli/command.h"
#include "cli/progress.h"
#include "session/folders.h"
#include "tidytake/tidytake.h"

enum {
    OPTION_OUT,
    OPTION_SETTINGS,
    OPTION_FOR,
    OPTION_SET,
    OPTION_JOBS,
    OPTION_PLAN,
    OPTION_AGAIN,
    OPTION_CHANGES,
    OPTION_PART,
    OPTION_QUIET,
    OPTION_VERBOSE,
    OPTION_JSON
};

static const struct tt_option options[] = {
    {"--out", "-o", "DIR", "where results go (default: SESSION.tidy beside it)", OPTION_OUT},
    {"--settings", "-s", "FILE", "a settings file, on top of yours and the session's", OPTION_SETTINGS},
    {"--for", NULL, "TARGET", "a delivery target; see `tidytake targets`", OPTION_FOR},
    {"--set", NULL, "SECTION.KEY=VALUE", "one setting, on top of all else; may be repeated", OPTION_SET},
    {"--jobs", "-j", "N", "processors to keep busy (default: all)", OPTION_JOBS},
    {"--plan", NULL, NULL, "hear and decide only; no sound is written", OPTION_PLAN},
    {"--again", NULL, NULL, "do takes anew that are up to date, too", OPTION_AGAIN},
    {"--changes", NULL, "FILE", "what you decided on the page; may be repeated", OPTION_CHANGES},
    {"--part", NULL, "K/N", "only share K of N: several machines, one DIR", OPTION_PART},
    {"--quiet", "-q", NULL, "say nothing but errors", OPTION_QUIET},
    {"--verbose", "-v", NULL, "a line for each take", OPTION_VERBOSE},
    {"--json", NULL, NULL, "a summary for programs on standard output", OPTION_JSON},
};

static volatile sig_atomic_t was_interrupted;

static void on_signal(int signal_number)
{
    (void)signal_number;
    was_interrupted = 1;
}

struct request {
    struct tt_clean_options options;
    const char **sources;
    size_t source_count;
    const char **assignments, **changes;
    bool is_quiet, is_verbose, is_json;
    size_t summed_up; /* sessions */
};

/* "2/4": the second of four. */
static bool read_part(const char *text, struct tt_clean_options *share)
{
    int length = 0;
    enum { MOST_PARTS = 10000 };
    if (strspn(text, "0123456789/") == strlen(text) && strlen(text) < 12 &&
        sscanf(text, "%d/%d%n", &share->part, &share->part_count, &length) == 2 && text[length] == '\0' &&
        share->part >= 1 && share->part <= share->part_count && share->part_count <= MOST_PARTS)
        return true;
    tt_complain("--part: must be K/N, the K-th of N shares, like 2/4");
    return false;
}

static bool take(void *context, int key, const char *value)
{
    struct request *request = context;
    struct tt_clean_options *options_read = &request->options;
    switch (key) {
    case TT_OPERAND:
        request->sources[request->source_count++] = value;
        break;
    case OPTION_OUT:
        options_read->out = value;
        break;
    case OPTION_SETTINGS:
        options_read->settings_file = value;
        break;
    case OPTION_FOR:
        options_read->target = value;
        break;
    case OPTION_SET:
        request->assignments[options_read->assignment_count++] = value;
        break;
    case OPTION_JOBS:
        return tt_jobs_read(value, &options_read->jobs);
    case OPTION_PLAN:
        options_read->is_plan = true;
        break;
    case OPTION_AGAIN:
        options_read->is_again = true;
        break;
    case OPTION_CHANGES:
        request->changes[options_read->changes_count++] = value;
        break;
    case OPTION_PART:
        return read_part(value, options_read);
    case OPTION_QUIET:
        request->is_quiet = true;
        break;
    case OPTION_VERBOSE:
        request->is_verbose = true;
        break;
    case OPTION_JSON:
        request->is_json = true;
        break;
    }
    return true;
}

static bool read_arguments(int count, char **arguments, struct request *request)
{
    if (!tt_arguments_read(&tt_command_clean, count, arguments, take, request))
        return false;
    request->options.assignments = request->assignments;
    request->options.changes_files = request->changes;
    if (request->options.part_count && (request->options.is_plan || request->options.changes_count)) {
        tt_complain("--part: goes with neither --plan nor --changes; give them to the run between the parts");
        return false;
    }
    if (request->source_count == 0) {
        tt_complain("clean: name the folder with the recordings, or sound files of one folder");
        return false;
    }
    return true;
}

static bool is_folder(const char *path)
{
    struct stat status;
    return stat(path, &status) == 0 && S_ISDIR(status.st_mode);
}

static int clean_one(struct request *request, const char *const *sources, size_t count)
{
    struct tt_progress progress = tt_progress_begin(request->is_quiet, &was_interrupted);
    const struct tt_clean_watcher watcher = tt_progress_watcher(&progress);
    struct tt_clean_result result;
    struct tt_error error = {0};
    request->options.sources = sources;
    request->options.source_count = count;
    bool ok = tt_clean(&request->options, &watcher, &result, &error);
    tt_progress_end(&progress);
    if (!ok)
        return tt_exit_status(&error);
    if (request->is_json)
        printf("%s%s\n", request->summed_up++ ? "," : "", result.json);
    else if (!request->is_quiet)
        printf("%s", request->is_verbose ? result.summary_verbose : result.summary);
    int status = result.failed_count ? TT_EXIT_SOME_FAILED : TT_EXIT_DONE;
    tt_clean_result_free(&result);
    return status;
}

/* A shell's pattern names what earlier runs left, too: these are no sessions. False when nothing else is left. */
static bool drop_results(struct request *request)
{
    size_t kept = 0;
    for (size_t i = 0; i < request->source_count; i++)
        if (!tt_is_out_folder(request->sources[i]))
            request->sources[kept++] = request->sources[i];
    request->source_count = kept;
    if (kept == 0)
        tt_complain("clean: earlier runs left all of these folders; name those with the recordings");
    return kept > 0;
}

/* Several folders: one after the other, each with its own OUT. */
static int clean_sessions(struct request *request)
{
    if (request->options.out) {
        tt_complain("--out: with several sessions each goes to its own SESSION.tidy; leave -o out");
        return TT_EXIT_USAGE;
    }
    if (!drop_results(request))
        return TT_EXIT_USAGE;
    request->options.may_miss_changes = true;
    int worst = TT_EXIT_DONE;
    if (request->is_json)
        printf("[\n");
    for (size_t i = 0; i < request->source_count && worst != TT_EXIT_STOPPED; i++) {
        int status = clean_one(request, &request->sources[i], 1);
        worst = status > worst ? status : worst;
    }
    if (request->is_json)
        printf("]\n");
    return worst;
}

static int clean_all(struct request *request)
{
    bool has_folder = false, has_file = false;
    for (size_t i = 0; i < request->source_count; i++) {
        if (access(request->sources[i], F_OK) != 0)
            return clean_one(request, &request->sources[i], 1); /* which says what is wrong with it */
        *(is_folder(request->sources[i]) ? &has_folder : &has_file) = true;
    }
    if (!has_folder || request->source_count == 1)
        return clean_one(request, request->sources, request->source_count);
    if (has_file) {
        tt_complain("clean: name folders or sound files, not both");
        return TT_EXIT_USAGE;
    }
    return clean_sessions(request);
}

static int run(int count, char **arguments)
{
    struct request request = {.sources = calloc((size_t)count + 1, sizeof *request.sources),
                              .assignments = calloc((size_t)count + 1, sizeof *request.assignments),
                              .changes = calloc((size_t)count + 1, sizeof *request.changes)};
    int status = TT_EXIT_USAGE;
    /* Asked twice, it ends at once: nothing is ever half-written. */
    struct sigaction action = {.sa_handler = on_signal, .sa_flags = (int)SA_RESETHAND};
    sigaction(SIGINT, &action, NULL);
    sigaction(SIGTERM, &action, NULL);
    if (!request.sources || !request.assignments || !request.changes)
        status = tt_exit_without_memory();
    else if (read_arguments(count, arguments, &request))
        status = clean_all(&request);
    free(request.sources);
    free(request.assignments);
    free(request.changes);
    return status;
}

const struct tt_command tt_command_clean = {
    .name = "clean",
    .arguments = "SESSION|TAKE...",
    .summary = "the whole job, after a recording session",
    .options = options,
    .option_count = sizeof options / sizeof *options,
    .run = run,
};
