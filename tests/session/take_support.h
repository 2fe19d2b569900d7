/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes made for tests, and what is read back of what a run left. */
#ifndef TT_TESTS_TAKE_SUPPORT_H
#define TT_TESTS_TAKE_SUPPORT_H

#include <dirent.h>
#include <ebur128.h>
#include <math.h>
#include <sndfile.h>
#include <sys/stat.h>

#include "base/text.h"
#include "clean_support.h"

enum { WAV_24 = SF_FORMAT_WAV | SF_FORMAT_PCM_24, WAV_FLOAT = SF_FORMAT_WAV | SF_FORMAT_FLOAT };

/* What a take is made of; zeros stand for the usual. */
struct take_shape {
    int format, rate_hz, channels, voice_channel;
    double seconds;   /* 6 */
    double voice_rms; /* 0.05; below zero: no voice */
    double noise_rms; /* 0.0005; below zero: digital silence between the lines */
    double offset;
    uint64_t seed;
    bool is_full; /* speech from the first sample to the last */
};

/* Mono samples: room, and two lines with a pause of 1.2 s between them. To be freed. */
static inline float *take_samples(struct take_shape shape, size_t *frames)
{
    const int rate = shape.rate_hz ? shape.rate_hz : 24000;
    const double seconds = shape.seconds > 0 ? shape.seconds : 6, rms = shape.voice_rms ? shape.voice_rms : 0.05;
    const size_t count = (size_t)(seconds * rate + 0.5);
    float *samples = calloc(count + 1, sizeof *samples);
    assert_non_null(samples);
    if (shape.noise_rms >= 0)
        noise_add(samples, count, shape.noise_rms > 0 ? shape.noise_rms : 0.0005, 17 + shape.seed);
    const double line_s = (seconds - 2.8) / 2;
    if (rms > 0 && shape.is_full) {
        voice_add(samples, count, rate, rms, 3 + shape.seed);
    } else if (rms > 0 && line_s > 0.3) {
        voice_add(samples + (size_t)(0.8 * rate), (size_t)(line_s * rate), rate, rms, 101 + shape.seed);
        voice_add(samples + (size_t)((2.0 + line_s) * rate), (size_t)(line_s * rate), rate, rms, 977 + shape.seed);
    }
    for (size_t i = 0; i < count; i++)
        samples[i] += (float)shape.offset;
    *frames = count;
    return samples;
}

static inline void take_write_samples(const char *path, struct take_shape shape, const float *mono, size_t frames)
{
    const int channels = shape.channels ? shape.channels : 1;
    float *all = calloc(frames * (size_t)channels + 1, sizeof *all);
    assert_non_null(all);
    for (size_t i = 0; i < frames; i++)
        all[i * (size_t)channels + (size_t)shape.voice_channel] = mono[i];
    for (int c = 0; channels > 1 && c < channels; c++)
        for (size_t i = 0; c != shape.voice_channel && i < frames; i++)
            all[i * (size_t)channels + (size_t)c] =
                0.001f * (float)((int)((i * 7919 + (size_t)c * 31) % 201) - 100) / 100;
    sound_write(path, shape.format ? shape.format : WAV_24, shape.rate_hz ? shape.rate_hz : 24000, channels, all,
                frames);
    free(all);
}

static inline void take_write(const char *path, struct take_shape shape)
{
    size_t frames;
    float *mono = take_samples(shape, &frames);
    take_write_samples(path, shape, mono, frames);
    free(mono);
}

/* ---- reading back ---- */

/* Integrated loudness by another meter, libebur128 (ITU-R BS.1770). */
static inline double lufs_of(const char *path)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file)
        fail_msg("%s: %s", path, sf_strerror(NULL));
    ebur128_state *meter = ebur128_init((unsigned)info.channels, (unsigned long)info.samplerate, EBUR128_MODE_I);
    float block[4096];
    sf_count_t got;
    while ((got = sf_readf_float(file, block, 4096 / info.channels)) > 0)
        ebur128_add_frames_float(meter, block, (size_t)got);
    double lufs = 0;
    ebur128_loudness_global(meter, &lufs);
    ebur128_destroy(&meter);
    sf_close(file);
    return lufs;
}

static inline SF_INFO info_of(const char *path)
{
    SF_INFO info = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file)
        fail_msg("%s: %s", path, sf_strerror(NULL));
    sf_close(file);
    return info;
}

/* The report of a take; to be let go. */
static inline json_t *report_of(const char *out, const char *stem)
{
    char name[600];
    snprintf(name, sizeof name, "report/%s.json", stem);
    return json_of(in_folder(out, name));
}

static inline bool has_warning(const json_t *report, const char *code)
{
    const json_t *warnings = json_object_get(report, "warnings");
    for (size_t i = 0; i < json_array_size(warnings); i++)
        if (strcmp(json_string_value(json_object_get(json_array_get(warnings, i), "code")), code) == 0)
            return true;
    return false;
}

static inline void assert_warns(const char *out, const char *stem, const char *code)
{
    json_t *report = report_of(out, stem);
    if (!has_warning(report, code)) {
        char *all = json_dumps(json_object_get(report, "warnings"), 0);
        fail_msg("%s: no warning '%s' in %s", stem, code, all);
    }
    json_decref(report);
}

static inline void assert_warns_not(const char *out, const char *stem, const char *code)
{
    json_t *report = report_of(out, stem);
    bool has_it = has_warning(report, code);
    json_decref(report);
    if (has_it)
        fail_msg("%s: warning '%s' out of place", stem, code);
}

/* What session.json says went wrong with a take; "" where nothing did. The buffer lives until the next call. */
static inline const char *error_of(const struct tt_clean_result *result, const char *take)
{
    static char message[1024];
    json_t *all = json_loads(result->json, 0, NULL);
    const json_t *takes = json_object_get(all, "takes");
    message[0] = '\0';
    for (size_t i = 0; i < json_array_size(takes); i++) {
        const json_t *one = json_array_get(takes, i);
        const char *error = json_string_value(json_object_get(one, "error"));
        if (strcmp(json_string_value(json_object_get(one, "take")), take) == 0 && error)
            snprintf(message, sizeof message, "%s", error);
    }
    json_decref(all);
    return message;
}

/* Files that a run began and did not publish, anywhere below a folder. */
static inline size_t count_unpublished(const char *folder)
{
    size_t count = 0;
    DIR *dir = opendir(folder);
    struct dirent *entry;
    while (dir && (entry = readdir(dir))) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        char *path = tt_format("%s/%s", folder, entry->d_name);
        struct stat status;
        assert_non_null(path);
        if (lstat(path, &status) == 0 && S_ISDIR(status.st_mode))
            count += count_unpublished(path);
        else
            count += strstr(entry->d_name, ".part") != NULL;
        free(path);
    }
    if (dir)
        closedir(dir);
    return count;
}

/* ---- a folder for each test ---- */

struct place {
    char *folder;
    char session[2048], out[2048];
    const char *before; /* digest of the session; NULL: not guarded */
    char digest[65];
};

static inline int place_set_up(void **state)
{
    struct place *place = calloc(1, sizeof *place);
    assert_non_null(place);
    place->folder = folder_make();
    snprintf(place->session, sizeof place->session, "%s/hive", place->folder);
    snprintf(place->out, sizeof place->out, "%s/out", place->folder);
    assert_int_equal(mkdir(place->session, 0777), 0);
    *state = place;
    return 0;
}

static inline int place_tear_down(void **state)
{
    struct place *place = *state;
    folder_remove(place->folder);
    free(place);
    return 0;
}

static inline const char *take_path(const struct place *place, const char *name)
{
    return in_folder(place->session, name);
}

/* Cleans, wants the recordings untouched and nothing half-written, and gives the numbers. */
static inline struct tt_clean_result clean_place(struct place *place, struct clean_run how)
{
    snprintf(place->digest, sizeof place->digest, "%s", folder_digest(place->session, "."));
    struct tt_clean_result result = clean_well(place->session, place->out, how);
    assert_string_equal(place->digest, folder_digest(place->session, "."));
    assert_int_equal(count_unpublished(place->out), 0);
    return result;
}

/* A take of 24 bits as a field recorder leaves it, with a broadcast chunk (EBU Tech 3285): date yyyy-mm-dd, time
 * hh:mm:ss, reference in samples since midnight. */
static inline void write_bext(const char *path, int rate_hz, const char *date, const char *time, int64_t reference,
                              int channels, const float *samples, size_t frames)
{
    SF_INFO info = {.samplerate = rate_hz, .channels = channels, .format = WAV_24};
    SF_BROADCAST_INFO bext = {.version = 1};
    memcpy(bext.origination_date, date, 10);
    memcpy(bext.origination_time, time, 8);
    memcpy(bext.originator, "field recorder", 14);
    bext.time_reference_low = (uint32_t)reference;
    bext.time_reference_high = (uint32_t)(reference >> 32);
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    assert_non_null(file);
    assert_int_equal(sf_command(file, SFC_SET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
    assert_int_equal(sf_writef_float(file, samples, (sf_count_t)frames), frames);
    sf_close(file);
}

#endif
