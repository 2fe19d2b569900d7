/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The narration and its pieces: the voices in running order, as one track each. What is made from the same as last time
 * is left as it lies. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "report/timecode.h"
#include "session/earlier.h"
#include "session/judging.h"
#include "session/kept.h"
#include "session/steps.h"
#include "session/track.h"
#include "stages/loudness.h"

/* A track on its way into a file. */
struct task {
    struct tt_run_state *run;
    const char *piece; /* NULL: the narration */
    const char *title, *path;
    struct tt_track track;
    struct tt_voices *voices;
    struct tt_kept_track kept;
};

/* The gain on top of the voices' own. With a gain for each take there is none; what was handed over keeps its own,
 * unless the limiter would have to do too much. */
static bool write_track(struct task *task, const struct tt_source *source, const struct tt_delivery *delivery,
                        struct tt_gain_finder *finder, struct tt_delivered *delivered, struct tt_error *err)
{
    struct tt_kept_track earlier, *kept = &task->kept;
    kept->trim_db = 0;
    if (!finder)
        return tt_delivery_write(source, delivery, 0, delivered, err);
    if (!tt_delivery_measure(source, finder, err))
        return false;
    if (!task->run->is_held || !tt_kept_track_find(task->run, task->piece, &earlier) || !isfinite(earlier.trim_db))
        return tt_delivery_write_exact(source, delivery, finder, &kept->trim_db, &kept->is_held_back, delivered, err);
    kept->trim_db =
        tt_allowed_gain_db(earlier.trim_db, tt_gain_finder_levels(finder), &task->run->settings, &kept->is_held_back);
    return tt_delivery_write(source, delivery, kept->trim_db, delivered, err);
}

static bool write_file(struct task *task, const char *path, struct tt_error *err)
{
    const struct tt_settings *settings = &task->run->settings;
    const struct tt_track *track = &task->track;
    struct tt_source source = tt_voices_source(task->voices);
    source.go_on = tt_run_goes_on;
    source.go_on_context = task->run;
    source.has_second_thread = task->run->options->jobs != 1;
    int64_t start_frame = 0;
    tt_timecode_parse(settings->deliver.frame_rate, settings->deliver.start, &start_frame);
    struct tt_bext bext = {.time_reference = llround((double)start_frame * track->rate_hz /
                                                     tt_timecode_fps(settings->deliver.frame_rate))};
    snprintf(bext.description, sizeof bext.description, "%s", task->title);
    snprintf(bext.originator, sizeof bext.originator, "tidytake");
    struct tt_delivery delivery = {
        .path = path,
        .format = {settings->deliver.format, settings->deliver.bits, settings->deliver.channels, track->rate_hz},
        .labels = track->labels,
        .label_count = track->label_count,
        .bext = &bext,
        .quiet = track->quiet,
        .quiet_count = track->quiet_count,
        .settings = settings};
    struct tt_delivered delivered;
    struct tt_gain_finder *finder = NULL;
    if (settings->loudness.across == TT_ACROSS_SESSION &&
        !(finder = tt_gain_finder_create(track->rate_hz, settings, err)))
        return false;
    bool ok = write_track(task, &source, &delivery, finder, &delivered, err);
    tt_gain_finder_destroy(finder);
    if (ok)
        task->kept.after = (struct tt_after){delivered.levels, delivered.floor_dbfs, delivered.floor_dba, NAN};
    return ok;
}

static bool is_up_to_date(struct task *task)
{
    struct tt_kept_track earlier;
    if (task->run->options->is_again || !tt_kept_track_find(task->run, task->piece, &earlier) ||
        strcmp(earlier.key, task->kept.key) != 0 || earlier.frames != task->kept.frames || !tt_file_exists(task->path))
        return false;
    task->kept = earlier;
    return true;
}

/* A new narration waits beside the old one until it is known whether it is another. */
static bool make_narration(struct task *task, struct tt_error *err)
{
    char *waiting = tt_earlier_waiting_path(task->run);
    bool ok = waiting ? write_file(task, waiting, err) && tt_earlier_replace(task->run, waiting, task->path, err)
                      : tt_fail_memory(err);
    if (waiting && !ok)
        unlink(waiting);
    free(waiting);
    task->run->is_narration_new = ok;
    return ok;
}

static void tell(struct task *task)
{
    struct tt_run_state *run = task->run;
    const struct tt_kept_track *kept = &task->kept;
    const double missing_db = tt_gain_to_target_db(&kept->after.levels, &run->settings);
    char text[TT_HELD_BACK_CHARS];
    if (kept->is_held_back && tt_held_back_say(&run->settings, missing_db, "the target", text, sizeof text))
        tt_run_warn(run, "target-missed", "%s: %s", tt_path_name(task->path), text);
    if (run->settings.loudness.across == TT_ACROSS_SESSION)
        tt_session_judge_track(run, tt_path_name(task->path), &kept->after, kept->rate_hz, kept->frames);
    if (task->piece)
        return;
    run->has_narration = true;
    run->narration_rate_hz = kept->rate_hz;
    run->narration_frames = kept->frames;
    run->narration = kept->after;
    run->narration_trim_db = kept->trim_db;
    for (size_t i = 0; i < task->track.count; i++)
        task->track.takes[i]->narration_start_frame = tt_voices_voice_start(task->voices, i);
}

static bool make_track(struct task *task, struct tt_error *err)
{
    struct tt_track *track = &task->track;
    if (!(task->voices = tt_voices_open(track->parts, track->count, track->rate_hz, err)) ||
        !tt_track_label(task->voices, track, err) || !tt_track_key(task->run, track, task->title, task->kept.key, err))
        return false;
    task->kept.rate_hz = track->rate_hz;
    task->kept.frames = tt_voices_start(task->voices, track->count);
    if (!is_up_to_date(task) && !(task->piece ? write_file(task, task->path, err) : make_narration(task, err)))
        return false;
    tell(task);
    return tt_kept_track_put(task->run, task->piece, &task->kept, err);
}

static void end_task(struct task *task)
{
    tt_voices_close(task->voices);
    tt_track_free(&task->track);
}

static bool write_piece(struct tt_run_state *run, const char *piece, const char *ending, struct tt_error *err)
{
    char *folder = tt_path_join(run->out, "pieces"), *path = tt_format("%s/pieces/%s%s", run->out, piece, ending);
    struct task task = {.run = run, .piece = piece, .title = piece, .path = path};
    bool ok = (folder && path) || tt_fail_memory(err);
    ok = ok && tt_folder_make(folder, err) && tt_track_build(run, piece, &task.track, err) &&
         (task.track.count == 0 || make_track(&task, err));
    end_task(&task);
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

/* A narration in the other kind of file, or one of which all is cut by now, would tell what is no more. */
static bool retire(struct tt_run_state *run, const char *ending, struct tt_error *err)
{
    char *path = tt_format("%s/narration%s", run->out, ending);
    bool ok = path ? tt_earlier_retire(run, path, err) : tt_fail_memory(err);
    free(path);
    return ok;
}

static bool narrate(struct tt_run_state *run, const char *ending, struct tt_error *err)
{
    char *path = tt_format("%s/narration%s", run->out, ending);
    struct task task = {.run = run, .title = run->list.name, .path = path};
    bool ok = path ? tt_track_build(run, NULL, &task.track, err) : tt_fail_memory(err);
    if (ok && task.track.count > 0)
        ok = make_track(&task, err) && retire(run, strcmp(ending, ".wav") == 0 ? ".flac" : ".wav", err);
    else if (ok && !any_take_failed(run))
        ok = retire(run, ending, err);
    end_task(&task);
    free(path);
    return ok;
}

bool tt_session_narrate(struct tt_run_state *run, struct tt_error *err)
{
    const char *ending = tt_container_ending(run->settings.deliver.format);
    if (run->is_held && any_take_failed(run))
        return tt_fail(err, TT_ERROR_INPUT,
                       "a take failed: deliver.hold = yes keeps the narration as it was handed over; mend that take, "
                       "and run again");
    if (run->settings.deliver.narration && !narrate(run, ending, err))
        return false;
    for (size_t i = 0; i < run->take_count; i++) {
        bool is_first = run->takes[i].piece[0] != '\0';
        for (size_t j = 0; j < i; j++)
            is_first = is_first && strcmp(run->takes[j].piece, run->takes[i].piece) != 0;
        if (is_first && !write_piece(run, run->takes[i].piece, ending, err))
            return false;
    }
    tt_session_judge_voices(run);
    return tt_session_clear_outdated(run, err);
}
