/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The narration and its pieces: the voices in running order, as one track each. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "audio/resample.h"
#include "base/file.h"
#include "base/units.h"
#include "pipeline/render.h"
#include "report/timecode.h"
#include "session/session.h"
#include "session/voices.h"
#include "stages/loudness.h"

/* Takes that are in a track, in order. */
struct track {
    struct tt_take **takes;
    struct tt_voice_part *parts;
    size_t count;
    int rate_hz;
    struct tt_label *labels;
    size_t label_count;
    struct tt_span_samples *quiet; /* made room tone, where the floor can be measured */
    size_t quiet_count;
};

static void track_free(struct track *track)
{
    free(track->takes);
    free(track->parts);
    free(track->labels);
    free(track->quiet);
}

static bool is_in(const struct tt_take *take, const char *piece)
{
    return take->is_heard && !take->has_failed && take->is_used && take->has_voice && (!piece || strcmp(take->piece, piece) == 0);
}

/* Frames of a voice before its first and behind its last word. */
static void voice_edges(const struct tt_take *take, int64_t *before, int64_t *behind)
{
    const struct tt_heard *heard = &take->heard;
    *before = *behind = 0;
    int64_t first = -1, last = -1;
    for (size_t i = 0; i < heard->run_count; i++) {
        int64_t start = tt_time_map_to_out(&take->map, heard->runs[i].start_sample), end = tt_time_map_to_out(&take->map, heard->runs[i].end_sample - 1);
        if (first < 0 && start >= 0)
            first = start;
        if (end >= 0)
            last = end;
    }
    if (first >= 0)
        *before = tt_resample_position(first, heard->facts.rate_hz, take->out_rate_hz);
    if (last >= 0)
        *behind = take->out_frames - tt_resample_position(last, heard->facts.rate_hz, take->out_rate_hz);
    if (*behind < 0)
        *behind = 0;
}

static int track_rate_hz(const struct track *track, const struct tt_settings *settings)
{
    int rate_hz = 0;
    for (size_t i = 0; i < track->count; i++) {
        if (rate_hz && rate_hz != track->takes[i]->out_rate_hz)
            return 48000;
        rate_hz = track->takes[i]->out_rate_hz;
    }
    return settings->deliver.rate_hz == TT_RATE_KEEP ? rate_hz : tt_delivery_rate_hz(settings, rate_hz);
}

static bool build_track(struct tt_run_state *run, const char *piece, struct track *track, struct tt_error *err)
{
    const struct tt_settings *settings = &run->settings;
    *track = (struct track){.takes = calloc(run->take_count + 1, sizeof *track->takes), .parts = calloc(run->take_count + 1, sizeof *track->parts)};
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
                                       .rate_hz = take->out_rate_hz,
                                       .frames = take->out_frames,
                                       .room = &take->heard.floor,
                                       .tone_gain = tt_room_tone_gain(settings) * tt_amplitude_from_db(take->applied_gain_db),
                                       .seed = i + 1};
        if (i == 0) {
            part->tone_before = tt_frames_from_ms(settings->deliver.head_ms, part->rate_hz);
        } else {
            double there_ms = tt_ms_from_frames(behind_last, rate_of_last) + tt_ms_from_frames(before, part->rate_hz);
            if (settings->pauses.between_ms > there_ms)
                part->tone_before = tt_frames_from_ms(settings->pauses.between_ms - there_ms, part->rate_hz);
        }
        if (i + 1 == track->count)
            part->tone_behind = tt_frames_from_ms(settings->deliver.tail_ms, part->rate_hz);
        behind_last = behind;
        rate_of_last = part->rate_hz;
    }
    return true;
}

/* A label at each take, and at each gap and label row in it. */
static bool label_track(const struct tt_voices *voices, struct track *track, struct tt_error *err)
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
        for (size_t r = 0; r < take->sheet.count; r++) {
            const struct tt_row *row = &take->sheet.rows[r];
            bool is_gap = row->kind == TT_ROW_GAP && row->action == TT_DO_OPEN;
            if (row->kind != TT_ROW_LABEL && !is_gap)
                continue;
            int64_t at = tt_time_map_nearest_out(&take->map, tt_frames_from_ms((double)row->start_ms, take->heard.facts.rate_hz));
            track->labels[track->label_count++] =
                (struct tt_label){start + tt_resample_position(at, take->heard.facts.rate_hz, track->rate_hz), row->note[0] ? row->note : is_gap ? "gap" : "label"};
        }
        if (start > tt_voices_start(voices, i))
            track->quiet[track->quiet_count++] = (struct tt_span_samples){tt_voices_start(voices, i), start};
    }
    return true;
}

static bool write_track(struct tt_run_state *run, struct track *track, const char *path, const char *title, bool is_narration, struct tt_error *err)
{
    const struct tt_settings *settings = &run->settings;
    struct tt_voices *voices = tt_voices_open(track->parts, track->count, track->rate_hz, err);
    if (!voices)
        return false;
    bool ok = label_track(voices, track, err);
    struct tt_source source = tt_voices_source(voices);
    source.go_on = tt_run_goes_on;
    source.go_on_context = run;
    double gain_db = 0;
    bool is_held_back = false;
    if (ok && settings->loudness.across == TT_ACROSS_SESSION) {
        struct tt_levels levels;
        ok = tt_delivery_measure(&source, track->rate_hz, settings, &levels, err) &&
             tt_delivery_find_gain(&source, track->rate_hz, settings, &levels, &gain_db, &is_held_back, err);
    }
    int64_t start_frame = 0;
    tt_timecode_parse(settings->deliver.frame_rate, settings->deliver.start, &start_frame);
    struct tt_bext bext = {.time_reference = llround((double)start_frame * track->rate_hz / tt_timecode_fps(settings->deliver.frame_rate))};
    snprintf(bext.description, sizeof bext.description, "%s", title);
    snprintf(bext.originator, sizeof bext.originator, "tidytake");
    struct tt_delivery delivery = {.path = path,
                                   .format = {settings->deliver.format, settings->deliver.bits, settings->deliver.channels, track->rate_hz},
                                   .frame_count = tt_voices_start(voices, track->count),
                                   .labels = track->labels,
                                   .label_count = track->label_count,
                                   .bext = &bext,
                                   .quiet = track->quiet,
                                   .quiet_count = track->quiet_count,
                                   .settings = settings};
    struct tt_delivered delivered;
    ok = ok && tt_delivery_write(&source, &delivery, gain_db, &delivered, err);
    if (ok && is_held_back)
        tt_run_warn(run, "target-missed", "%s: its peaks would need more than %.1f dB of limiting; it stays under the target", tt_path_name(path),
                    settings->loudness.limit_most_db);
    if (ok && is_narration) {
        run->has_narration = true;
        run->narration_rate_hz = track->rate_hz;
        run->narration_frames = tt_voices_start(voices, track->count);
        run->narration = (struct tt_after){delivered.levels, delivered.floor_dbfs, delivered.floor_dba, NAN};
        run->narration_trim_db = gain_db;
        for (size_t i = 0; i < track->count; i++)
            track->takes[i]->narration_start_frame = tt_voices_voice_start(voices, i);
    }
    tt_voices_close(voices);
    return ok;
}

static bool write_piece(struct tt_run_state *run, const char *piece, const char *ending, struct tt_error *err)
{
    char *folder = tt_path_join(run->out, "pieces"), *path = tt_format("%s/pieces/%s%s", run->out, piece, ending);
    struct track track = {0};
    bool ok = (folder && path) || tt_fail_memory(err);
    ok = ok && tt_folder_make(folder, err) && build_track(run, piece, &track, err) && (track.count == 0 || write_track(run, &track, path, piece, false, err));
    track_free(&track);
    free(folder);
    free(path);
    return ok;
}

static bool any_take_failed(const struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (run->takes[i].has_failed)
            return true;
    return false;
}

bool tt_session_narrate(struct tt_run_state *run, struct tt_error *err)
{
    const char *ending = tt_container_ending(run->settings.deliver.format);
    char *path = tt_format("%s/narration%s", run->out, ending);
    struct track track = {0};
    bool ok = path || tt_fail_memory(err);
    if (ok && run->settings.deliver.narration) {
        ok = build_track(run, NULL, &track, err);
        if (ok && track.count > 0)
            ok = write_track(run, &track, path, run->list.name, true, err);
        else if (ok && !any_take_failed(run)) /* all is cut: an old one would tell what is no more */
            ok = unlink(path) == 0 || errno == ENOENT || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", path);
    }
    for (size_t i = 0; ok && i < run->take_count; i++) {
        bool is_first = run->takes[i].piece[0] != '\0';
        for (size_t j = 0; j < i; j++)
            is_first = is_first && strcmp(run->takes[j].piece, run->takes[i].piece) != 0;
        ok = !is_first || write_piece(run, run->takes[i].piece, ending, err);
    }
    track_free(&track);
    free(path);
    return ok;
}
