/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as OUT/order.csv. What is obeyed must give every take one place, and the same again. */
#include "fuzz.h"

#include "session/session.h"

enum { TAKES = 4 };

static void start(struct tt_run_state *run, struct tt_take *takes)
{
    static const struct tt_take_file files[TAKES] = {{.name = "01.wav", .stem = "01"}, {.name = "02 - ruche.wav", .stem = "02 - ruche"},
                                                     {.name = "=3.flac", .stem = "=3"}, {.name = "\xff\n.wav", .stem = "\xff\n"}};
    memset(takes, 0, TAKES * sizeof *takes);
    for (int i = 0; i < TAKES; i++) {
        takes[i].file = &files[i];
        takes[i].is_used = true;
    }
    *run = (struct tt_run_state){.out = (char *)(uintptr_t)fuzz_folder(), .takes = takes, .take_count = TAKES};
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tt_run_state run;
    struct tt_take takes[TAKES], again[TAKES];
    struct tt_error err = {0};
    const char *path = fuzz_path("order.csv");
    fuzz_write(path, data, size);
    start(&run, takes);
    if (!tt_session_order(&run, &err)) {
        if (err.kind != TT_ERROR_USAGE || !err.message[0])
            abort();
        return 0;
    }
    for (int i = 0; i < TAKES; i++)
        for (int j = 0; j < i; j++)
            if (takes[i].file == takes[j].file)
                abort();
    start(&run, again);
    if (!tt_session_order(&run, &err))
        abort();
    for (int i = 0; i < TAKES; i++)
        if (takes[i].file != again[i].file || takes[i].is_used != again[i].is_used || strcmp(takes[i].piece, again[i].piece) != 0)
            abort();
    return 0;
}
