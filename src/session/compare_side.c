/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One of the two recordings: what is heard of it, its sound as the search for the moment wants it, a copy that plays.
 */
#include <math.h>
#include <stdlib.h>

#include "audio/resample.h"
#include "base/file.h"
#include "base/text.h"
#include "base/units.h"
#include "pipeline/hear.h"
#include "pipeline/play_copy.h"
#include "session/compare_parts.h"

static bool go_on_tick(void *context, double share)
{
    const struct tt_compare_request *request = context;
    (void)share;
    return !request->go_on || request->go_on(request->context);
}

static struct tt_recording recording_of(const struct compare_side *side)
{
    return tt_recording_as_heard(&side->heard.facts, side->path, NULL, 0);
}

static bool choose_channel(const struct tt_compare_request *request, const struct compare_side *side,
                           struct tt_channel_choice *choice, struct tt_error *err)
{
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    int count;
    *choice = (struct tt_channel_choice){.channel = 0, .why = "one channel"};
    if (side->info.channel_count == 1)
        return true;
    if (!tt_channels_survey(side->path, request->go_on, request->context, stats, &count, err))
        return false;
    *choice = tt_channel_choose(stats, count);
    return true;
}

/* As it is: no rumble filter. */
static bool hear(const struct tt_compare_request *request, const char *out, struct compare_side *side,
                 struct tt_error *err)
{
    struct tt_settings settings;
    struct tt_channel_choice choice = {0};
    tt_settings_default(&settings);
    settings.take.highpass_hz = 0;
    struct tt_hear_request hearing = {.path = side->path,
                                      .unnamed = {out, &side->heard},
                                      .content_sha256 = "",
                                      .hearing_key = "",
                                      .settings = &settings,
                                      .picture_prefix = side->prefix,
                                      .tick = go_on_tick,
                                      .tick_context = (void *)(uintptr_t)request};
    if (!choose_channel(request, side, &choice, err))
        return false;
    hearing.channel = choice;
    side->is_heard = tt_hear(&hearing, err);
    return side->is_heard;
}

enum { BLOCK = 16384 };

/* Samples of the one channel at TT_LAG_RATE_HZ, scaled to fill 16 bits, go into a file: hours of them would fill the
 * memory. */
struct conversion {
    struct tt_voice_reader *reader;
    struct tt_resampler *resampler;
    struct tt_publish *file;
    double scale;
    float block[BLOCK], ready[BLOCK];
    int16_t samples[BLOCK];
};

static bool add_samples(struct conversion *conversion, size_t count, struct tt_error *err)
{
    for (size_t i = 0; i < count; i++)
        conversion->samples[i] =
            (int16_t)lrint(fmax(-32767, fmin(32767, (double)conversion->ready[i] * conversion->scale)));
    return tt_publish_write(conversion->file, conversion->samples, count * sizeof *conversion->samples, err);
}

static bool convert(const struct tt_compare_request *request, struct conversion *conversion, struct tt_error *err)
{
    for (int64_t count = 1; count > 0;) {
        count = tt_voice_reader_read(conversion->reader, conversion->block, BLOCK, err);
        if (count < 0)
            return false;
        if (!go_on_tick((void *)(uintptr_t)request, 0))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
        size_t taken = 0;
        for (int64_t got = 1; taken < (size_t)count || (count == 0 && got > 0);) {
            size_t used = 0;
            got = tt_resampler_run(conversion->resampler, count > 0 ? conversion->block + taken : NULL,
                                   (size_t)count - taken, &used, conversion->ready, BLOCK, err);
            if (got < 0 || !add_samples(conversion, (size_t)got, err))
                return false;
            taken += used;
        }
    }
    return true;
}

static bool open_conversion(const struct compare_side *side, const char *out, struct conversion *conversion,
                            struct tt_error *err)
{
    struct tt_audio_info info;
    const struct tt_recording recording = recording_of(side);
    const double peak_db = side->heard.facts.before.max_true_peak_dbtp;
    conversion->scale = 30000 * (isfinite(peak_db) ? tt_amplitude_from_db(-peak_db) : 1);
    return (conversion->reader = tt_recording_open(&recording, &info, err)) &&
           (conversion->resampler = tt_resampler_create(info.rate_hz, TT_LAG_RATE_HZ, err)) &&
           (conversion->file = tt_publish_open_unnamed(out, err));
}

static bool read_moments(const struct tt_compare_request *request, const char *out, struct compare_side *side,
                         struct tt_error *err)
{
    struct conversion *conversion = calloc(1, sizeof *conversion);
    if (!conversion)
        return tt_fail_memory(err);
    bool ok = open_conversion(side, out, conversion, err) && convert(request, conversion, err);
    if (ok)
        ok = tt_publish_map(conversion->file, &side->samples, err);
    else
        tt_publish_abandon(conversion->file);
    side->sound = (struct tt_lag_sound){side->samples.data, side->samples.size / sizeof *side->sound.samples};
    tt_resampler_destroy(conversion->resampler);
    tt_voice_reader_close(conversion->reader);
    free(conversion);
    return ok;
}

bool compare_side_copy(const struct tt_compare_request *request, const char *out, const char *name,
                       struct compare_side *side, double *gain_db, struct tt_error *err)
{
    *gain_db = 0;
    if (side->info.plays_in_browser)
        return true;
    *gain_db = -fmax(0, side->heard.facts.before.max_true_peak_dbtp);
    side->copy = tt_format("%s/sound/%s.flac", out, name);
    struct tt_play_copy copy = {.recording = recording_of(side),
                                .gain = tt_amplitude_from_db(*gain_db),
                                .path = side->copy,
                                .go_on = request->go_on,
                                .context = request->context};
    return side->copy ? tt_play_copy_write(&copy, err) : tt_fail_memory(err);
}

bool compare_side_hear(const struct tt_compare_request *request, const char *out, struct compare_side *side,
                       struct tt_error *err)
{
    return hear(request, out, side, err) && read_moments(request, out, side, err);
}

void compare_side_free(struct compare_side *side)
{
    if (side->is_heard)
        tt_heard_close(&side->heard);
    tt_mapped_close(&side->samples);
    free(side->path);
    free(side->prefix);
    free(side->copy);
}
