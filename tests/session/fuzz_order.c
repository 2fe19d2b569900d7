/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as OUT/order.csv. What is obeyed must give every part a name of its own, and the same again.
 */
#include "fuzz.h"

#include "session/steps.h"

enum { TAKES = 4 };

static void start(struct tt_run_state *run)
{
    static const struct tt_take_file files[TAKES] = {{.name = "01.wav", .stem = "01"},
                                                     {.name = "02 - ruche.wav", .stem = "02 - ruche"},
                                                     {.name = "=3.flac", .stem = "=3"},
                                                     {.name = "\xff\n.wav", .stem = "\xff\n"}};
    struct tt_take *takes = calloc(TAKES, sizeof *takes);
    if (!takes)
        abort();
    for (int i = 0; i < TAKES; i++) {
        takes[i].file = takes[i].recording = &files[i];
        takes[i].is_used = true;
        takes[i].to_ms = -1;
    }
    *run = (struct tt_run_state){.out = (char *)(uintptr_t)fuzz_folder(),
                                 .list = {.folder = (char *)(uintptr_t)fuzz_folder()},
                                 .takes = takes,
                                 .take_count = TAKES};
}

static void finish(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        char *texts[] = {take->before_prefix, take->after_prefix, take->voice_heard_path, take->heard_path,
                         take->limit_path,    take->sheet_path,   take->voice_path,       take->whole_path,
                         take->json_path,     take->page_path};
        for (size_t k = 0; k < sizeof texts / sizeof *texts; k++)
            free(texts[k]);
        free(take->own_settings);
        free(take->more);
        free(take->more_paths);
        if (!take->own_file)
            continue;
        free(take->own_file->name);
        free(take->own_file->stem);
        free(take->own_file->path);
        free(take->own_file);
    }
    free(run->takes);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tt_run_state run, again;
    struct tt_error err = {0};
    fuzz_write(fuzz_path("order.csv"), data, size);
    start(&run);
    if (!tt_session_order(&run, &err)) {
        if ((err.kind != TT_ERROR_USAGE && err.kind != TT_ERROR_INPUT) || !err.message[0])
            abort();
        finish(&run);
        return 0;
    }
    for (size_t i = 0; i < run.take_count; i++)
        for (size_t j = 0; j < i; j++)
            if (strcmp(run.takes[i].file->stem, run.takes[j].file->stem) == 0)
                abort();
    start(&again);
    if (!tt_session_order(&again, &err) || again.take_count != run.take_count)
        abort();
    for (size_t i = 0; i < run.take_count; i++)
        if (strcmp(run.takes[i].file->name, again.takes[i].file->name) != 0 ||
            run.takes[i].is_used != again.takes[i].is_used || run.takes[i].from_ms != again.takes[i].from_ms ||
            strcmp(run.takes[i].piece, again.takes[i].piece) != 0)
            abort();
    finish(&run);
    finish(&again);
    return 0;
}
