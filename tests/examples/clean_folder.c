/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A program that does what `tidytake clean FOLDER` does, with its own progress and a way to stop: usage: clean_folder
 * FOLDER OUT [STOP_AT_PERCENT]. Builds against what `make install` installs: cc clean_folder.c $(pkg-config --cflags
 * --libs tidytake) */
#include <stdio.h>
#include <stdlib.h>

#include <tidytake/tidytake.h>

struct watching {
    int shown_percent, stop_at_percent;
};

/* Called from the library's threads, one at a time; false asks it to stop. */
static bool on_progress(void *context, double share, const char *take, const char *what)
{
    struct watching *watching = context;
    int percent = (int)(100 * share);
    if (percent >= watching->shown_percent + 10) {
        watching->shown_percent = percent;
        printf("%3d %% %s %s\n", percent, what ? what : "", take ? take : "");
    }
    return percent < watching->stop_at_percent;
}

static void on_note(void *context, const char *line)
{
    (void)context;
    printf("note: %s\n", line);
}

int main(int argc, char **argv)
{
    if (argc < 3) {
        fprintf(stderr, "usage: clean_folder FOLDER OUT [STOP_AT_PERCENT]\n");
        return 2;
    }
    const char *const sources[] = {argv[1]};
    const char *const assignments[] = {"gate.depth_db=12"};
    struct tt_clean_options options = {.sources = sources,
                                       .source_count = 1,
                                       .out = argv[2],
                                       .assignments = assignments,
                                       .assignment_count = 1,
                                       .jobs = 1};
    struct watching watching = {.stop_at_percent = argc > 3 ? atoi(argv[3]) : 101};
    struct tt_clean_watcher watcher = {.context = &watching, .progress = on_progress, .note = on_note};
    struct tt_clean_result result;
    struct tt_error error = {0};
    if (!tt_clean(&options, &watcher, &result, &error)) {
        printf("%s: %s\n", error.kind == TT_ERROR_STOPPED ? "stopped" : "failed", error.message);
        return 1;
    }
    printf("%zu takes, %zu questions, %zu failed; the page is in %s\n", result.take_count, result.question_count,
           result.failed_count, result.out_folder);
    tt_clean_result_free(&result);
    return 0;
}
