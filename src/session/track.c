/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/track.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/rescale.h"
#include "base/units.h"
#include "pipeline/cue_points.h"
#include "pipeline/render.h"

void tt_track_free(struct tt_track *track)
{
    free(track->takes);
    free(track->parts);
    free(track->labels);
    free(track->quiet);
}

static bool is_in(const struct tt_take *take, const char *piece)
{
    return tt_take_takes_part(take) && take->has_voice && (!piece || strcmp(take->piece, piece) == 0);
}

/* Frames of a voice before its first and behind its last word. */
static void voice_edges(const struct tt_take *take, int64_t *before, int64_t *behind)
{
    const struct tt_heard *heard = &take->heard;
    *before = *behind = 0;
    int64_t first = -1, last = -1;
    for (size_t i = 0; i < heard->run_count; i++) {
        int64_t start = tt_time_map_to_out(&take->map, heard->runs[i].start_sample),
                end = tt_time_map_to_out(&take->map, heard->runs[i].end_sample - 1);
        if (first < 0 && start >= 0)
            first = start;
        if (end >= 0)
            last = end;
    }
    if (first >= 0)
        *before = tt_rescale_frames(first, heard->facts.rate_hz, take->out_rate_hz);
    if (last >= 0)
        *behind = take->out_frames - tt_rescale_frames(last, heard->facts.rate_hz, take->out_rate_hz);
    if (*behind < 0)
        *behind = 0;
}

/* Where voices of several rates meet: what AES5 prefers for programmes that change hands (from memory). */
static const int mixed_rate_hz = 48000;

static int track_rate_hz(const struct tt_track *track, const struct tt_settings *settings)
{
    int rate_hz = 0;
    for (size_t i = 0; i < track->count; i++) {
        if (rate_hz && rate_hz != track->takes[i]->out_rate_hz)
            return mixed_rate_hz;
        rate_hz = track->takes[i]->out_rate_hz;
    }
    return settings->deliver.rate_hz == TT_RATE_KEEP ? rate_hz : tt_delivery_rate_hz(settings, rate_hz);
}

/* Made room tone between two voices, half of it each one's. */
static void put_between(struct tt_voice_part *last, struct tt_voice_part *part, double made_ms)
{
    last->tone_behind = tt_frames_from_ms(made_ms / 2, last->rate_hz);
    part->tone_before = tt_frames_from_ms(made_ms / 2, part->rate_hz);
}

/* At the edge of a pick-up a pause is as long as inside a take, else as between two. there_ms: of both rooms already.
 */
static double made_between_ms(bool is_joined, double there_ms, const struct tt_settings *settings)
{
    const double least_ms =
        40; /* two fades of voices.c; where both rooms are cut in the middle of words there is no more */
    double wanted_ms = (is_joined ? settings->pauses.stay_ms : settings->pauses.between_ms) - there_ms;
    if (is_joined)
        return there_ms > least_ms && wanted_ms > least_ms ? wanted_ms : least_ms;
    return wanted_ms > 0 ? wanted_ms : 0;
}

bool tt_track_build(struct tt_run_state *run, const char *piece, struct tt_track *track, struct tt_error *err)
{
    const struct tt_settings *settings = &run->settings;
    *track = (struct tt_track){.takes = calloc(run->take_count + 1, sizeof *track->takes),
                               .parts = calloc(run->take_count + 1, sizeof *track->parts)};
    if (!track->takes || !track->parts)
        return tt_fail_memory(err);
    for (size_t i = 0; i < run->take_count; i++)
        if (is_in(&run->takes[i], piece))
            track->takes[track->count++] = &run->takes[i];
    track->rate_hz = track_rate_hz(track, settings);
    int64_t behind_last = 0;
    int rate_of_last = 1;
    for (size_t i = 0; i < track->count; i++) {
        struct tt_take *take = track->takes[i];
        int64_t before, behind;
        voice_edges(take, &before, &behind);
        struct tt_voice_part *part = &track->parts[i];
        *part = (struct tt_voice_part){.path = take->voice_path,
                                       .limit_path = take->limited_db > 0 ? take->limit_path : NULL,
                                       .rate_hz = take->out_rate_hz,
                                       .frames = take->out_frames,
                                       .heard = &take->heard,
                                       .map = &take->map,
                                       .tone_gain =
                                           tt_room_tone_gain(settings) * tt_amplitude_from_db(take->applied_gain_db),
                                       .seed = i + 1};
        if (i == 0) {
            part->tone_before = tt_frames_from_ms(settings->deliver.head_ms, part->rate_hz);
        } else {
            double there_ms = tt_ms_from_frames(behind_last, rate_of_last) + tt_ms_from_frames(before, part->rate_hz);
            put_between(&track->parts[i - 1], part, made_between_ms(take->joins_before, there_ms, settings));
        }
        if (i + 1 == track->count)
            part->tone_behind = tt_frames_from_ms(settings->deliver.tail_ms, part->rate_hz);
        behind_last = behind;
        rate_of_last = part->rate_hz;
    }
    return true;
}

bool tt_track_label(const struct tt_voices *voices, struct tt_track *track, struct tt_error *err)
{
    size_t most = 0;
    for (size_t i = 0; i < track->count; i++)
        most += 1 + track->takes[i]->sheet.count;
    track->labels = calloc(most + 1, sizeof *track->labels);
    track->quiet = calloc(2 * track->count + 1, sizeof *track->quiet);
    if (!track->labels || !track->quiet)
        return tt_fail_memory(err);
    for (size_t i = 0; i < track->count; i++) {
        const struct tt_take *take = track->takes[i];
        int64_t start = tt_voices_voice_start(voices, i);
        track->labels[track->label_count++] = (struct tt_label){start, take->file->name};
        size_t cue_count =
            tt_cue_points(&take->sheet, &take->heard, &take->map, track->rate_hz, track->labels + track->label_count);
        for (size_t c = 0; c < cue_count; c++)
            track->labels[track->label_count++].frame += start;
        if (start > tt_voices_start(voices, i))
            track->quiet[track->quiet_count++] = (struct tt_span_samples){tt_voices_start(voices, i), start};
    }
    return true;
}

bool tt_track_key(const struct tt_run_state *run, const struct tt_track *track, const char *title, char key[65],
                  struct tt_error *err)
{
    const struct tt_settings *s = &run->settings;
    struct tt_text text = {0};
    tt_text_addf(&text, "%s track 3\n%s\n", TIDYTAKE_VERSION, title);
    tt_text_addf(&text, "aim %s across %d limit %.17g %.17g\n", run->gain_aim, (int)s->loudness.across,
                 s->loudness.ceiling_dbtp, s->loudness.limit_most_db);
    tt_text_addf(&text, "deliver %d %d %d %d start %s %d\n", (int)s->deliver.channels, (int)s->deliver.format,
                 (int)s->deliver.bits, track->rate_hz, s->deliver.start, (int)s->deliver.frame_rate);
    for (size_t i = 0; i < track->count; i++) {
        const struct tt_voice_part *part = &track->parts[i];
        tt_text_addf(&text, "voice %s %d %lld tone %lld %lld %.17g %llu\n", track->takes[i]->render_key, part->rate_hz,
                     (long long)part->frames, (long long)part->tone_before, (long long)part->tone_behind,
                     part->tone_gain, (unsigned long long)part->seed);
    }
    for (size_t i = 0; i < track->label_count; i++)
        tt_text_addf(&text, "label %lld %s\n", (long long)track->labels[i].frame, track->labels[i].text);
    bool ok = !text.has_failed || tt_fail_memory(err);
    if (ok)
        tt_sha256(text.data, text.length, key);
    tt_text_free(&text);
    return ok;
}
