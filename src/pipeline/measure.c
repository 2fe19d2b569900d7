/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/measure.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pipeline/hear.h"
#include "sheet/heard.h"
#include "sheet/pace.h"

enum { BLOCK_FRAMES = 1 << 13 };

/* Channel weights of BS.1770-5, Table 3: left, right, centre 1, low-frequency effects left out, surrounds 1.41; mono
 * and stereo are all ones. */
static void channel_weights(int channel_count, double *weights)
{
    for (int c = 0; c < channel_count; c++)
        weights[c] = channel_count == 6 && c == 3                                       ? 0
                     : channel_count >= 5 && c >= (channel_count == 6 ? 4 : 3) && c < 6 ? 1.41
                                                                                        : 1;
}

static bool measure_levels(const char *path, struct tt_measured *measured, struct tt_error *err)
{
    double weights[TT_MOST_CHANNELS];
    struct tt_reader *reader = tt_reader_open(path, &measured->info, err);
    if (!reader)
        return false;
    const int channels = measured->info.channel_count;
    channel_weights(channels, weights);
    struct tt_meter *meter = tt_meter_create_channels(measured->info.rate_hz, weights, channels, err);
    float *block = malloc((size_t)BLOCK_FRAMES * (size_t)channels * sizeof *block);
    bool ok = meter && (block || tt_fail_memory(err));
    int64_t count = 0, total = 0;
    while (ok && (count = tt_reader_read(reader, block, BLOCK_FRAMES, err)) > 0) {
        total += count;
        ok = tt_meter_add_frames(meter, block, (size_t)count, err);
    }
    ok = ok && count == 0 &&
         (total > 0 || tt_fail(err, TT_ERROR_INPUT, "no sound in it: the file holds not one sample; record it again"));
    if (ok)
        measured->levels = tt_meter_result(meter);
    tt_meter_destroy(meter);
    tt_reader_close(reader);
    free(block);
    return ok;
}

/* A room shows itself in half a minute of reading: what is shorter is judged, and said to be short. */
static const double sure_from_s = 30;
static const double rings_badly_under_db_per_s = 90;

static bool is_remarked(const struct tt_heard *heard, const char *code)
{
    bool is_found = false;
    for (size_t i = 0; i < heard->remark_count; i++)
        is_found = is_found || strcmp(heard->remarks[i].code, code) == 0;
    return is_found;
}

/* The bounds are common practice, no source: 25 dB between voice and room is what spoken-word deliveries with a -60
 * dBFS floor at -23..-18 dBFS RMS need at least before any cleaning is tried; 40 dB is a treated booth. */
static void judge(const struct tt_heard *heard, struct tt_measured *measured)
{
    double over_room = measured->speech_dbfs - measured->floor_dbfs;
    char *verdict = measured->verdict;
    const size_t size = sizeof measured->verdict;
    if (measured->is_silent)
        snprintf(verdict, size,
                 "Nothing but digital silence: connect the microphone, or choose its channel, and record again.");
    else if (heard->run_count == 0)
        snprintf(verdict, size, "No voice is heard in it: say a few lines as you would read them, and measure again.");
    else if (measured->is_clipped)
        snprintf(verdict, size,
                 "Record again at a lower level: the loudest words are clipped, and nothing brings them back.");
    else if (over_room < 15)
        snprintf(verdict, size,
                 "Leave this room or go much nearer to the microphone: the voice is only %.0f dB over the noise.",
                 over_room);
    else if (tt_heard_decays_under(&heard->facts, rings_badly_under_db_per_s))
        snprintf(verdict, size,
                 "Leave this room, or go much nearer to the microphone: the room rings behind every word, and nothing "
                 "takes that out.");
    else if (measured->hum_hz > 0 && measured->hum_over_floor_db > 20)
        snprintf(
            verdict, size,
            "Usable once the mains hum (%.0f Hz) is cured: look for a loose ground or a power supply near the cable.",
            measured->hum_hz);
    else if (tt_heard_decays_under(&heard->facts, TT_RINGS_UNDER_DB_PER_S))
        snprintf(verdict, size,
                 "Usable, not more: the room can be heard behind the words; go nearer, or hang up something soft.");
    else if (over_room < 25)
        snprintf(verdict, size,
                 "Usable, not more: the voice is %.0f dB over the room; a hand's breadth nearer would help.",
                 over_room);
    else if (!isfinite(over_room) || is_remarked(heard, "muted"))
        snprintf(
            verdict, size,
            "The recorder mutes the pauses, so the room cannot be judged: switch its gate off, and measure again.");
    else if (over_room < 40)
        snprintf(verdict, size, "A good room: the voice is %.0f dB over it, which cleaning can deal with.", over_room);
    else
        snprintf(verdict, size, "A very quiet room: the voice is %.0f dB over it.", over_room);
    size_t used = strlen(verdict);
    if (heard->run_count > 0 && measured->levels.duration_s < sure_from_s)
        snprintf(verdict + used, size - used, " (From %.0f s only: half a minute makes it sure.)",
                 measured->levels.duration_s);
}

static bool find_pace(const struct tt_heard *heard, struct tt_measured *measured, struct tt_error *err)
{
    struct tt_pace pace;
    if (!tt_pace_find(heard, NULL, &pace, err))
        return false;
    measured->syllables_per_s = pace.syllables_per_s;
    tt_pace_free(&pace);
    return true;
}

static bool hear_voice(const char *path, const struct tt_settings *settings, const char *scratch_folder,
                       struct tt_measured *measured, struct tt_error *err)
{
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct tt_channel_choice choice = {.channel = 0, .why = "one channel"};
    int count = 1;
    if (measured->info.channel_count > 1) {
        if (!tt_channels_survey(path, NULL, NULL, stats, &count, err))
            return false;
        choice = tt_channel_choose(stats, count);
    }
    struct tt_heard heard;
    struct tt_hear_request request = {.path = path,
                                      .unnamed = {scratch_folder, &heard},
                                      .content_sha256 = "",
                                      .hearing_key = "",
                                      .channel = choice,
                                      .settings = settings};
    if (!tt_hear(&request, err))
        return false;
    measured->floor_dbfs = heard.facts.floor_dbfs;
    measured->floor_dba = heard.facts.floor_dba;
    measured->speech_dbfs = heard.facts.speech_dbfs;
    snprintf(measured->channel_why, sizeof measured->channel_why, "%s", choice.why);
    measured->decay_db_per_s = heard.facts.decay_db_per_s;
    measured->hum_hz = heard.facts.hum.base_hz;
    for (int k = 0; k < TT_HUM_HARMONICS && measured->hum_hz > 0; k++)
        measured->hum_over_floor_db = fmax(measured->hum_over_floor_db, heard.facts.hum.over_floor_db[k]);
    measured->is_clipped = is_remarked(&heard, "clipped");
    measured->is_silent = is_remarked(&heard, "digital-silence");
    for (size_t i = 0; i < heard.remark_count && i < TT_MOST_MEASURED_REMARKS; i++)
        measured->remarks[measured->remark_count++] = heard.remarks[i];
    judge(&heard, measured);
    bool ok = find_pace(&heard, measured, err);
    tt_heard_close(&heard);
    return ok;
}

bool tt_measure(const char *path, const struct tt_settings *settings, const char *scratch_folder,
                struct tt_measured *measured, struct tt_error *err)
{
    *measured = (struct tt_measured){0};
    return measure_levels(path, measured, err) && hear_voice(path, settings, scratch_folder, measured, err);
}
