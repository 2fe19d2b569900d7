/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: the whole job where one of its files holds any bytes: the first says which. Whatever comes of it: no
 * crash, and no recording touched. */
#include "fuzz.h"
#include "fuzz_wav.h"

#include <math.h>
#include <sndfile.h>
#include <unistd.h>

#include "base/file.h"
#include "tidytake/tidytake.h"

enum { RATE_HZ = 8000, SECONDS = 3 };

static char digest[65];

/* A take with two bursts in noise. */
static void make_take(const char *path)
{
    static float samples[RATE_HZ * SECONDS];
    uint32_t dice = 1;
    for (int i = 0; i < RATE_HZ * SECONDS; i++) {
        dice = dice * 1664525u + 1013904223u;
        double t = (double)i / RATE_HZ, is_loud = (t > 0.6 && t < 1.3) || (t > 1.9 && t < 2.5);
        samples[i] = (float)(((double)(dice >> 8) / (1 << 24) - 0.5) * 0.002 +
                             is_loud * 0.2 * sin(6.2832 * 140 * t) * (1 + sin(6.2832 * 4 * t)));
    }
    SF_INFO info = {.samplerate = RATE_HZ, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    if (!file || sf_writef_float(file, samples, RATE_HZ * SECONDS) != RATE_HZ * SECONDS || sf_close(file) != 0)
        abort();
}

static void clean(bool must_go_well, const char *changes)
{
    const char *const sources[] = {fuzz_path("takes")};
    const char *const changes_files[] = {changes};
    struct tt_clean_options options = {.sources = sources,
                                       .source_count = 1,
                                       .out = fuzz_path("out"),
                                       .jobs = 1,
                                       .changes_files = changes_files,
                                       .changes_count = changes ? 1 : 0};
    struct tt_clean_result result;
    struct tt_error err = {0};
    bool ok = tt_clean(&options, NULL, &result, &err);
    if (!ok && (must_go_well || err.kind == TT_OK || err.kind == TT_ERROR_INTERNAL))
        abort();
    if (ok)
        tt_clean_result_free(&result);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char *const places[] = {"out/session.json",   "out/order.csv",    "out/sheets/01.csv",
                                         "out/report/01.json", "out/heard/01.bin", "takes/02.wav",
                                         "takes/tidytake.ini", "changes.csv",      "out/voice/01.wav",
                                         "out/narration.wav",  "out/heard/01.lim"};
    enum { PLACES = sizeof places / sizeof *places };
    if (size == 0)
        return 0;
    if (!digest[0]) {
        struct tt_error err = {0};
        mkdir(fuzz_path("takes"), 0777);
        make_take(fuzz_path("takes/01.wav"));
        clean(true, NULL);
        if (!tt_file_sha256(fuzz_path("takes/01.wav"), digest, &err))
            abort();
    }
    const char *place = fuzz_path(places[data[0] % PLACES]);
    bool is_changes = strcmp(places[data[0] % PLACES], "changes.csv") == 0;
    fuzz_write(place, data + 1, size - 1);
    clean(false, is_changes ? place : NULL);
    unlink(place);
    clean(true, NULL);
    char now[65];
    struct tt_error err = {0};
    if (!tt_file_sha256(fuzz_path("takes/01.wav"), now, &err) || strcmp(now, digest) != 0)
        abort();
    return 0;
}

#ifdef TT_GUIDED_FUZZING
/* The place stays, as a rule: what is good for a sheet says nothing to a WAV file. */
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t most, unsigned int seed)
{
    const unsigned int dice = seed * 2654435761u;
    if (size < 2 || dice % 16 == 15)
        return LLVMFuzzerMutate(data, size, most);
    return 1 + wav_change(data + 1, size - 1, most - 1, dice);
}
#endif
