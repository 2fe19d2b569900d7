/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What fuzz targets share: a folder of their own for what the code under test reads from files. */
#ifndef TT_TESTS_FUZZ_H
#define TT_TESTS_FUZZ_H

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Decoders forget memory over damaged files (libvorbis over an Ogg head, for one): theirs to mend. */
const char *__lsan_default_suppressions(void);
__attribute__((visibility("default"))) const char *__lsan_default_suppressions(void)
{
    return "leak:libsndfile\nleak:libvorbis\nleak:libFLAC\nleak:libopus\nleak:libmpg123\n";
}

/* Made once below $TMPDIR; the system's temporary folder is cleared by others. */
static inline const char *fuzz_folder(void)
{
    static char folder[4096];
    const char *parent = getenv("TMPDIR");
    if (folder[0])
        return folder;
    snprintf(folder, sizeof folder, "%s/tidytake-fuzz-XXXXXX", parent && parent[0] ? parent : "/tmp");
    if (!mkdtemp(folder))
        abort();
    return folder;
}

static inline const char *fuzz_path(const char *name)
{
    static char paths[8][4400];
    static int at;
    at = (at + 1) % 8;
    snprintf(paths[at], sizeof paths[at], "%s/%s", fuzz_folder(), name);
    return paths[at];
}

static inline void fuzz_write(const char *path, const void *data, size_t size)
{
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(data, 1, size, file) != size || fclose(file) != 0)
        abort();
}

#endif
