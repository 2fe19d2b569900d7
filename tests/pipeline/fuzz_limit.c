/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as OUT/heard/TAKE.lim, taken back on a voice: it stays made of numbers, or the file is called
 * damaged. */
#include "fuzz.h"

#include <math.h>

#include "pipeline/limit_record.h"

enum { RATE_HZ = 8000, SAMPLES = 6000, BLOCK = 700 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static float samples[SAMPLES];
    struct tt_error err = {0};
    const char *path = fuzz_path("take.lim");
    fuzz_write(path, data, size);
    struct tt_limit_reader *reader = tt_limit_reader_open(path, RATE_HZ, &err);
    if (!reader) {
        if (err.kind == TT_OK || !err.message[0])
            abort();
        return 0;
    }
    for (int i = 0; i < SAMPLES; i++)
        samples[i] = 0.5F;
    bool is_whole = true;
    for (size_t at = 0; is_whole && at < SAMPLES; at += BLOCK) {
        const size_t count = SAMPLES - at < BLOCK ? SAMPLES - at : BLOCK;
        tt_limit_reader_restore(reader, samples + at, count);
        is_whole = tt_limit_reader_is_whole(reader, &err);
        for (size_t i = at; is_whole && i < at + count; i++)
            if (!isfinite(samples[i]) || samples[i] < 0.5F)
                abort();
    }
    tt_limit_reader_close(reader);
    return 0;
}
