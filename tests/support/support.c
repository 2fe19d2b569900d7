/* SPDX-License-Identifier: GPL-2.0-or-later */
#define _XOPEN_SOURCE 700
#include "support.h"

#include <dirent.h>
#include <errno.h>
#include <ftw.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"

char *folder_make(void)
{
    const char *base = getenv("TMPDIR") && getenv("TMPDIR")[0] ? getenv("TMPDIR") : "/tmp";
    char *folder = tt_format("%s/tidytake-test-XXXXXX", base);
    assert_non_null(folder);
    assert_non_null(mkdtemp(folder));
    return folder;
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *place)
{
    (void)status;
    (void)kind;
    (void)place;
    return remove(path);
}

void folder_remove(char *folder)
{
    nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS);
    free(folder);
}

const char *in_folder(const char *folder, const char *name)
{
    static char buffers[16][4096];
    static int next;
    char *buffer = buffers[next++ % 16];
    snprintf(buffer, sizeof buffers[0], "%s/%s", folder, name);
    return buffer;
}

void file_write(const char *path, const void *data, size_t size)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

char *file_read(const char *path, size_t *size)
{
    char *data = NULL;
    size_t length = 0;
    struct tt_error error = {0};
    assert_ok(tt_file_read(path, (size_t)1 << 30, &data, &length, &error), error);
    if (size)
        *size = length;
    return data;
}

bool file_exists(const char *path) { return access(path, F_OK) == 0; }

void file_copy(const char *from, const char *to)
{
    size_t size;
    char *data = file_read(from, &size);
    file_write(to, data, size);
    free(data);
}

static char *next_digest(void)
{
    static char buffers[16][65];
    static int next;
    return buffers[next++ % 16];
}

const char *file_digest(const char *path)
{
    char *hex = next_digest();
    struct tt_error error = {0};
    assert_ok(tt_file_sha256(path, hex, &error), error);
    return hex;
}

static int keep_all(const struct dirent *entry)
{
    return entry->d_name[0] != '.' || (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0);
}

const char *folder_digest(const char *folder, const char *sub)
{
    struct dirent **entries = NULL;
    int count = scandir(in_folder(folder, sub), &entries, keep_all, alphasort);
    assert_true(count >= 0);
    struct tt_text text = {0};
    for (int i = 0; i < count; i++) {
        char *path = tt_format("%s/%s/%s", folder, sub, entries[i]->d_name);
        tt_text_addf(&text, "%s %s\n", entries[i]->d_name, file_digest(path));
        free(path);
        free(entries[i]);
    }
    free(entries);
    char *hex = next_digest();
    tt_sha256(text.data ? text.data : "", text.length, hex);
    tt_text_free(&text);
    return hex;
}

void sound_write(const char *path, int format, int rate_hz, int channels, const float *interleaved, size_t frames)
{
    SF_INFO info = {.samplerate = rate_hz, .channels = channels, .format = format};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    if (!file)
        fail_msg("%s: %s", path, sf_strerror(NULL));
    sf_command(file, SFC_SET_CLIPPING, NULL, SF_TRUE);
    assert_int_equal(sf_writef_float(file, interleaved, (sf_count_t)frames), (sf_count_t)frames);
    assert_int_equal(sf_close(file), 0);
}

float *sound_read(const char *path, size_t *frames, int *rate_hz)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file)
        fail_msg("%s: %s", path, sf_strerror(NULL));
    float *all = malloc(((size_t)info.frames + 1) * (size_t)info.channels * sizeof *all);
    assert_non_null(all);
    assert_int_equal(sf_readf_float(file, all, info.frames), info.frames);
    for (sf_count_t i = 0; i < info.frames; i++)
        all[i] = all[i * info.channels];
    sf_close(file);
    *frames = (size_t)info.frames;
    if (rate_hz)
        *rate_hz = info.samplerate;
    return all;
}

/* splitmix64, public domain constants by S. Vigna. */
static double uniform(uint64_t *state)
{
    uint64_t z = (*state += 0x9E3779B97F4A7C15ULL);
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    z ^= z >> 31;
    return (double)(z >> 11) / 9007199254740992.0 * 2 - 1;
}

void noise_add(float *samples, size_t count, double rms, uint64_t seed)
{
    for (size_t i = 0; i < count; i++)
        samples[i] += (float)(uniform(&seed) * rms * 1.7320508);
}

void voice_add(float *samples, size_t count, int rate_hz, double rms, uint64_t seed)
{
    const double pi = 3.14159265358979323846;
    double base_hz = 110 + 20 * uniform(&seed), phase = 0, state[3][2] = {{0}};
    double f1 = 500, f2 = 1500, sum = 0;
    float *made = calloc(count, sizeof *made);
    assert_non_null(made);
    for (size_t i = 0; i < count; i++) {
        double t = (double)i / rate_hz;
        if (i % (size_t)(rate_hz / 5) == 0) { /* a new syllable, other vowels */
            f1 = 450 + 250 * uniform(&seed);
            f2 = 1500 + 600 * uniform(&seed);
        }
        double hz = base_hz * (1 + 0.08 * sin(2 * pi * 0.7 * t));
        phase += hz / rate_hz;
        double pulse = phase >= 1 ? 1 : 0;
        phase -= floor(phase);
        double out = pulse;
        const double centre[3] = {f1, f2, 2600};
        for (int k = 0; k < 3; k++) { /* two-pole resonators one after the other */
            double r = exp(-pi * 90 / rate_hz), c = 2 * r * cos(2 * pi * centre[k] / rate_hz);
            double y = out * (1 - r) + c * state[k][0] - r * r * state[k][1];
            state[k][1] = state[k][0];
            state[k][0] = y;
            out = 0.3 * out * (1 - r) + y;
        }
        double syllable = 0.55 - 0.45 * cos(2 * pi * 5 * t);
        double edge = fmin(1, fmin((double)i, (double)(count - i)) / (0.02 * rate_hz));
        made[i] = (float)(out * syllable * edge);
        sum += (double)made[i] * made[i];
    }
    double scale = sum > 0 ? rms / sqrt(sum / (double)count) : 0;
    for (size_t i = 0; i < count; i++)
        samples[i] += (float)(made[i] * scale);
    free(made);
}

void copy_fixture_session(const char *folder)
{
    const char *fixtures = getenv("TIDYTAKE_FIXTURES") ? getenv("TIDYTAKE_FIXTURES") : "fixtures";
    mkdir(folder, 0777);
    file_copy(in_folder(fixtures, "session/01.flac"), in_folder(folder, "01.flac"));
    file_copy(in_folder(fixtures, "session/02.flac"), in_folder(folder, "02.flac"));
}

double rms_of(const float *samples, size_t count)
{
    double sum = 0;
    for (size_t i = 0; i < count; i++)
        sum += (double)samples[i] * samples[i];
    return count ? sqrt(sum / (double)count) : 0;
}

int lag_of(const float *a, const float *b, size_t count, int most)
{
    int best_lag = 0;
    double best = -1;
    for (int lag = -most; lag <= most; lag++) {
        double sum = 0;
        for (size_t i = (size_t)most; i + (size_t)most < count; i++)
            sum += (double)a[i] * (double)b[(size_t)((long)i + lag)];
        if (sum > best) {
            best = sum;
            best_lag = lag;
        }
    }
    return best_lag;
}

void sheet_propose(struct tt_sheet *sheet, const struct tt_row *row)
{
    struct tt_error error = {0};
    if (!tt_sheet_propose(sheet, row, &error))
        fail_msg("%s", error.message);
}
