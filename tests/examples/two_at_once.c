/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two sessions at once in one program, each on a thread and with an OUT of its own: usage: two_at_once FOLDER OUT
 * FOLDER OUT. Prints the summaries. */
#include <pthread.h>
#include <stdio.h>

#include <tidytake/tidytake.h>

struct work {
    const char *folder, *out;
    struct tt_clean_result result;
    struct tt_error error;
    bool is_done;
};

static void *work_on(void *argument)
{
    struct work *work = argument;
    struct tt_clean_options options = {.sources = &work->folder, .source_count = 1, .out = work->out, .jobs = 1};
    /* No watcher: nothing is told while it works. */
    work->is_done = tt_clean(&options, NULL, &work->result, &work->error);
    return NULL;
}

int main(int argc, char **argv)
{
    if (argc != 5) {
        fprintf(stderr, "usage: two_at_once FOLDER OUT FOLDER OUT\n");
        return 2;
    }
    struct work works[2] = {{.folder = argv[1], .out = argv[2]}, {.folder = argv[3], .out = argv[4]}};
    pthread_t threads[2];
    int status = 0;
    for (int i = 0; i < 2; i++)
        if (pthread_create(&threads[i], NULL, work_on, &works[i]) != 0)
            return 1;
    for (int i = 0; i < 2; i++)
        pthread_join(threads[i], NULL);
    for (int i = 0; i < 2; i++) {
        if (works[i].is_done)
            printf("%s", works[i].result.summary);
        else
            printf("%s: %s\n", works[i].folder, works[i].error.message);
        status |= !works[i].is_done;
        if (works[i].is_done)
            tt_clean_result_free(&works[i].result);
    }
    return status;
}
