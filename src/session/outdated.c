/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the run before made and this one does not: it would pass for something that belongs to the session still. */
#include <errno.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audio/writer.h"
#include "base/file.h"
#include "report/json_values.h"
#include "session/earlier.h"

/* Ending of the sound files that the run before left; NULL: not known. */
static const char *earlier_ending(const struct tt_run_state *run)
{
    const char *format =
        json_string_value(json_object_get(json_object_get(run->earlier_state, "delivered_with"), "deliver.format"));
    if (!format)
        return NULL;
    return tt_container_ending(strcmp(format, "flac") == 0 ? TT_CONTAINER_FLAC : TT_CONTAINER_WAV);
}

static bool remove_sound(const struct tt_run_state *run, const char *folder, const char *stem, const char *ending,
                         struct tt_error *err)
{
    char *path = tt_format("%s/%s/%s%s", run->out, folder, stem, ending);
    bool ok = path ? tt_file_remove(path, err) : tt_fail_memory(err);
    free(path);
    return ok;
}

/* The same voice lies beside it in the other kind of file. Only right after the change: later it may be a person's own
 * copy. */
static bool clear_voices(const struct tt_run_state *run, const char *ending, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        if (!tt_take_takes_part(take) || !take->has_voice)
            continue;
        if (!remove_sound(run, "voice", take->file->stem, ending, err) ||
            (run->settings.deliver.whole && !remove_sound(run, "whole", take->file->stem, ending, err)))
            return false;
    }
    return true;
}

/* What was put aside before under that name stays: a free name, the caller's; NULL without memory. */
static char *free_name(const char *folder, const char *piece, const char *ending)
{
    char *path = tt_format("%s/%s%s", folder, piece, ending);
    for (int n = 2; path && tt_file_exists(path); n++) {
        free(path);
        path = tt_format("%s/%s-%d%s", folder, piece, n, ending);
    }
    return path;
}

static bool put_aside(const struct tt_run_state *run, const char *piece, const char *ending, struct tt_error *err)
{
    char *from = tt_format("%s/pieces/%s%s", run->out, piece, ending),
         *folder = tt_path_join(run->out, "earlier/pieces");
    char *to = folder ? free_name(folder, piece, ending) : NULL;
    bool ok = (from && to) || tt_fail_memory(err);
    if (ok && tt_file_exists(from))
        ok = tt_folder_make(folder, err) &&
             (rename(from, to) == 0 || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", to));
    free(from);
    free(to);
    free(folder);
    return ok;
}

/* A piece that a failed take was to be in is not unwanted. */
static bool is_waited_for(const struct tt_run_state *run, const char *piece)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (run->takes[i].has_failed && (!run->takes[i].piece[0] || strcmp(run->takes[i].piece, piece) == 0))
            return true;
    return false;
}

/* Else nobody would know later that the piece is there. */
static bool keep_track(struct tt_run_state *run, const char *piece, json_t *track, struct tt_error *err)
{
    if (!run->tracks)
        run->tracks = json_object();
    bool ok = json_object_get(run->tracks, "pieces") || tt_json_put(run->tracks, "pieces", json_object());
    return (ok && json_object_set(json_object_get(run->tracks, "pieces"), piece, track) == 0) || tt_fail_memory(err);
}

bool tt_session_clear_outdated(struct tt_run_state *run, struct tt_error *err)
{
    const char *before = earlier_ending(run), *now = tt_container_ending(run->settings.deliver.format), *piece;
    json_t *track;
    if (!before)
        return true;
    bool is_other = strcmp(before, now) != 0;
    if (is_other && !clear_voices(run, before, err))
        return false;
    json_object_foreach(json_object_get(run->earlier_state, "pieces"), piece, track)
    {
        if (strchr(piece, '/')) /* no name that a run has written: it would lead out of OUT, to files of others */
            continue;
        bool is_made = json_object_get(json_object_get(run->tracks, "pieces"), piece) != NULL;
        if (!is_made && is_waited_for(run, piece)) {
            if (!keep_track(run, piece, track, err))
                return false;
        } else if (is_made) {
            if (is_other && !put_aside(run, piece, before, err))
                return false;
        } else if (!put_aside(run, piece, before, err) || (is_other && !put_aside(run, piece, now, err))) {
            return false;
        }
    }
    return true;
}
