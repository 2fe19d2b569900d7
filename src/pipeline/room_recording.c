/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/room_recording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "audio/reader.h"
#include "audio/resample.h"
#include "base/units.h"
#include "dsp/highpass.h"
#include "pipeline/framer.h"

enum { BLOCK_SAMPLES = 1 << 13 };

/* Some fifty spectra at least: their mean is then within 1 dB (periodogram of noise, 5.6 dB each). */
static const double least_room_ms = 500;

/* From the file's rate to the take's, through the rumble filter, into frames. */
struct room_path {
    struct tt_resampler *resampler; /* NULL at the take's own rate */
    struct tt_highpass *highpass;
    struct tt_framer *framer;
    float *resampled, *filtered;
    struct tt_floor_estimator *estimator;
    int hop_samples;
    int64_t frame_count;
};

static bool take_frame(void *context, int64_t index, const float *power, const float *samples, struct tt_error *err)
{
    (void)samples;
    struct room_path *path = context;
    path->frame_count++;
    return tt_floor_estimator_add(path->estimator, index * path->hop_samples, power, index >= 2, err);
}

static bool add_filtered(struct room_path *path, const float *samples, size_t count, struct tt_error *err)
{
    if (!path->highpass)
        return tt_framer_add(path->framer, samples, count, err);
    size_t ready = tt_highpass_run(path->highpass, samples, count, path->filtered);
    return tt_framer_add(path->framer, path->filtered, ready, err);
}

static bool add_samples(struct room_path *path, const float *samples, size_t count, struct tt_error *err)
{
    if (!path->resampler)
        return add_filtered(path, samples, count, err);
    bool is_end = count == 0;
    for (;;) {
        size_t used = 0;
        int64_t made = tt_resampler_run(path->resampler, samples, count, &used, path->resampled, BLOCK_SAMPLES, err);
        if (made < 0 || (made > 0 && !add_filtered(path, path->resampled, (size_t)made, err)))
            return false;
        samples = samples ? samples + used : NULL;
        count -= used;
        if (made == 0 && (is_end || count == 0))
            return true;
        if (!is_end && count == 0 && made < BLOCK_SAMPLES)
            return true;
    }
}

static bool listen_through(struct room_path *path, struct tt_voice_reader *reader, float *block, struct tt_error *err)
{
    int64_t count;
    while ((count = tt_voice_reader_read(reader, block, BLOCK_SAMPLES, err)) > 0)
        if (!add_samples(path, block, (size_t)count, err))
            return false;
    if (count < 0 || (path->resampler && !add_samples(path, NULL, 0, err)))
        return false;
    if (path->highpass) {
        size_t ready = tt_highpass_finish(path->highpass, path->filtered);
        if (!tt_framer_add(path->framer, path->filtered, ready, err))
            return false;
    }
    return tt_framer_finish(path->framer, err);
}

/* One row for the whole take: the mean of the nodes. */
static bool keep_mean(const struct room_path *path, struct tt_floor_track *track, struct tt_error *err)
{
    size_t bins = (size_t)track->shape.bin_count;
    if (track->node_count < 1 ||
        path->frame_count * path->hop_samples < tt_frames_from_ms(least_room_ms, track->shape.rate_hz))
        return tt_fail(err, TT_ERROR_INPUT,
                       "too short to hear a room in; record it for some seconds, or set floor.room_tone to auto");
    for (size_t k = 0; k < bins; k++) {
        double sum = 0;
        for (int i = 0; i < track->node_count; i++)
            sum += (double)track->power[(size_t)i * bins + k];
        track->power[k] = (float)(sum / track->node_count);
    }
    track->node_count = 1;
    track->node_sample[0] = 0;
    return true;
}

bool tt_room_recording_hear(const struct tt_settings *settings, struct tt_hearing *hearing, struct tt_error *err)
{
    const char *name = settings->floor.room_tone;
    if (strcmp(name, "auto") == 0)
        return true;
    struct room_path path = {.hop_samples = hearing->shape.hop_samples};
    struct tt_audio_info info;
    float *block = malloc(BLOCK_SAMPLES * sizeof(float));
    struct tt_voice_reader *reader = tt_voice_reader_open(name, 0, &info, err);
    bool ok = block && reader;
    if (ok && info.rate_hz != hearing->shape.rate_hz)
        ok = (path.resampler = tt_resampler_create(info.rate_hz, hearing->shape.rate_hz, err)) != NULL;
    size_t room = BLOCK_SAMPLES;
    if (ok && settings->take.highpass_hz > 0) {
        ok = (path.highpass = tt_highpass_create(hearing->shape.rate_hz, settings->take.highpass_hz, err)) != NULL;
        room += ok ? tt_highpass_latency(path.highpass) : 0;
    }
    if (ok) {
        path.resampled = malloc(BLOCK_SAMPLES * sizeof(float));
        path.filtered = malloc(room * sizeof(float));
        ok = path.resampled && path.filtered;
    }
    ok = ok && (path.estimator = tt_floor_estimator_create(hearing->shape, settings->floor.window_s, err)) &&
         (path.framer = tt_framer_create(hearing->shape, take_frame, &path, err)) &&
         listen_through(&path, reader, block, err) &&
         tt_floor_estimator_finish(path.estimator, &hearing->heard->floor, err) &&
         keep_mean(&path, &hearing->heard->floor, err);
    if (!ok) {
        if (!block || (path.framer == NULL && err && err->kind == TT_OK))
            tt_fail_memory(err);
        tt_error_context(err, "room_tone %s", name);
    }
    tt_framer_destroy(path.framer);
    tt_floor_estimator_destroy(path.estimator);
    tt_highpass_destroy(path.highpass);
    tt_resampler_destroy(path.resampler);
    tt_voice_reader_close(reader);
    free(path.resampled);
    free(path.filtered);
    free(block);
    return ok;
}
