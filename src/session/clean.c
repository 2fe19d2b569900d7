/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The whole job on one session. */
#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "base/file.h"
#include "session/advice.h"
#include "session/folders.h"
#include "session/leftovers.h"
#include "session/load_settings.h"
#include "session/out_folder.h"
#include "session/part.h"
#include "session/recorded_over.h"
#include "session/renamed.h"
#include "session/same_recording.h"
#include "session/steps.h"

const char *tt_version(void) { return TIDYTAKE_VERSION; }

static bool make_folders(struct tt_run_state *run, struct tt_error *err)
{
    static const char *const names[] = {"heard", "sheets", "voice", "report", "edit", "whole"};
    const size_t count = sizeof names / sizeof *names - (run->settings.deliver.whole ? 0 : 1);
    bool ok = tt_folder_make(run->out, err);
    for (size_t i = 0; ok && i < count; i++) {
        char *path = tt_path_join(run->out, names[i]);
        ok = path ? tt_folder_make(path, err) : tt_fail_memory(err);
        free(path);
    }
    return ok;
}

/* One run at a time on one OUT, or several parts of one: the lock dies with its process. A file, since the lock of a
 * folder does not leave the machine on network file systems (flock(2), notes on NFS). It stays where it is: who takes a
 * lock's file away lets two others in. */
static bool lock_out(struct tt_run_state *run, struct tt_error *err)
{
    char *path = tt_path_join(run->out, ".lock");
    if (!path)
        return tt_fail_memory(err);
    run->lock_fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
    bool is_open = run->lock_fd >= 0 || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", path);
    free(path);
    if (!is_open)
        return false;
    if (flock(run->lock_fd, (run->options->part_count ? LOCK_SH : LOCK_EX) | LOCK_NB) == 0)
        return true;
    if (errno == EWOULDBLOCK)
        return tt_fail(err, TT_ERROR_OUTPUT, "%s: another run is working here; wait for it to end", run->out);
    return true; /* a file system without locks: go on */
}

static bool find_out(struct tt_run_state *run, struct tt_error *err)
{
    run->out = run->options->out ? tt_resolve_path(run->options->out, err) : tt_copy_string(run->list.default_out);
    if (!run->out)
        return run->options->out ? false : tt_fail_memory(err);
    return tt_out_is_safe(run->out, &run->list, err);
}

/* One for each file; the running order makes them more, or fewer. */
static bool start_takes(struct tt_run_state *run, struct tt_error *err)
{
    run->takes = calloc(run->list.count, sizeof *run->takes);
    if (!run->takes)
        return tt_fail_memory(err);
    run->take_count = run->list.count;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        take->file = take->recording = &run->list.files[i];
        take->is_used = true;
        take->narration_start_frame = -1;
        take->gain_db = NAN;
        take->to_ms = -1;
    }
    return true;
}

static void free_run(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        tt_take_free(&run->takes[i]);
    free(run->takes);
    free(run->out);
    json_decref(run->earlier_state);
    json_decref(run->tracks);
    tt_takes_free(&run->list);
    if (run->lock_fd >= 0)
        close(run->lock_fd);
    pthread_mutex_destroy(&run->mutex);
}

static bool stopped(struct tt_run_state *run, struct tt_error *err)
{
    return atomic_load(&run->is_stopped) && !tt_fail_stopped(err);
}

/* Decides and renders until no sheet was saved by somebody in the meantime. */
static bool decide_and_render(struct tt_run_state *run, struct tt_error *err)
{
    enum { MOST_ROUNDS = 5 };
    for (int round = 0; round < MOST_ROUNDS; round++) {
        if (!tt_session_decide(run, err) || stopped(run, err))
            return false;
        if (!run->options->is_plan && (!tt_session_render(run, err) || stopped(run, err)))
            return false;
        if (!tt_session_sheets_moved(run))
            return true;
        tt_run_note(run, "a cut sheet was saved while the run was working: deciding again");
    }
    return true;
}

static void warn_of_camera_files(struct tt_run_state *run)
{
    if (run->list.camera_count > 0)
        tt_run_warn(run, "camera",
                    "%.80s%s passed over, since this build reads no camera files; make a WAV of the sound: ffmpeg -i "
                    "FILE -vn -c:a pcm_s24le TAKE.wav, "
                    "or build with libavformat-dev, libavcodec-dev and libswresample-dev",
                    run->list.camera, run->list.camera_count > 1 ? " and other camera files were" : " was");
}

static void warn_of_bits(struct tt_run_state *run)
{
    if (run->settings.deliver.format == TT_CONTAINER_FLAC && run->settings.deliver.bits == TT_BITS_32F)
        tt_run_warn(run, "bits",
                    "FLAC holds whole numbers only: 24 bits are written, not 32f; set deliver.format to wav if the "
                    "next program wants 32f");
}

/* The target is a word of the command line. Who leaves it off the next time gets another loudness, and is told. */
static void warn_of_another_target(struct tt_run_state *run)
{
    const json_t *made_for = json_object_get(run->earlier_state, "made_for");
    const char *before = json_string_value(made_for), *now = run->options->target;
    if (!made_for || run->options->is_plan || (!before && !now) || (before && now && strcmp(before, now) == 0))
        return;
    if (now)
        tt_run_warn(run, "another-target", "made for %s now; the run before was made %s%s", now,
                    before ? "for " : "for no named target", before ? before : "");
    else
        tt_run_warn(run, "another-target",
                    "made for no named target now, the run before was made for %s: if you still want that, run again "
                    "with --for %s",
                    before, before);
}

/* Said before anything is touched; what stands in it is read when the sheets are. */
static bool changes_are_there(const struct tt_clean_options *options, struct tt_error *err)
{
    for (size_t i = 0; i < options->changes_count; i++)
        if (access(options->changes_files[i], R_OK) != 0)
            return tt_fail_errno(err, TT_ERROR_USAGE, errno, "--changes %s: name the file that you saved on the page",
                                 options->changes_files[i]);
    return true;
}

/* What is decided hangs on all takes: one that could not be had here, if only for want of descriptors, is told by
 * whoever goes on without it. */
static void tell_missing(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!take->has_failed || take->is_ours)
            continue;
        take->is_needed_here = true;
        tt_run_note(run, "%s", take->error.message);
    }
}

/* A share of the work: what all takes are needed for is left to a whole run. */
static bool run_part(struct tt_run_state *run, struct tt_clean_result *result, struct tt_error *err)
{
    if (!tt_part_is_all_heard(run))
        return tt_part_sum_up(run, result, err);
    tell_missing(run);
    return tt_session_drop_copies(run, err) && tt_session_hold(run, err) && decide_and_render(run, err) &&
           tt_part_sum_up(run, result, err);
}

static bool check_options(const struct tt_clean_options *options, struct tt_error *err)
{
    const int part = options->part, count = options->part_count;
    if ((part != 0 || count != 0) && (part < 1 || part > count))
        return tt_fail(err, TT_ERROR_USAGE, "part %d of %d: there is no such part; the first is part 1", part, count);
    if (count > 0 && (options->is_plan || options->changes_count > 0))
        return tt_fail(err, TT_ERROR_USAGE,
                       "a part goes with neither a plan nor changes files: give these to the run between the parts");
    return true;
}

static bool run_all(struct tt_run_state *run, struct tt_clean_result *result, struct tt_error *err)
{
    const struct tt_clean_options *options = run->options;
    if (!check_options(options, err) ||
        !tt_takes_list(options->sources, options->source_count, options->without_links, &run->list, err) ||
        !find_out(run, err) || !changes_are_there(options, err) ||
        !tt_settings_load(run->list.folder, options->settings_file, options->target, options->assignments,
                          options->assignment_count, &run->settings, NULL, err))
        return false;
    warn_of_camera_files(run);
    warn_of_bits(run);
    if (!make_folders(run, err) || !lock_out(run, err))
        return false;
    if (!options->part_count) /* parts that work beside this one have files under way */
        tt_leftovers_clear(run->out);
    if (!start_takes(run, err) || !tt_part_share(run, err) || !tt_session_remember(run, err) ||
        !tt_session_order(run, err) || !tt_session_hear(run, err) || stopped(run, err))
        return false;
    if (options->part_count)
        return run_part(run, result, err);
    if (!tt_session_drop_copies(run, err))
        return false;
    warn_of_another_target(run);
    if (!tt_session_hold(run, err) || !tt_session_follow_renames(run, err) || !tt_session_clear_old_sheets(run, err) ||
        !tt_vanished_remember(run, err) || !decide_and_render(run, err))
        return false;
    if (!options->is_plan && !tt_session_narrate(run, err))
        return false;
    if (!tt_session_copy_sounds(run, err) || !tt_session_show(run, result, err))
        return false;
    if (run->watcher && run->watcher->written)
        run->watcher->written(run->watcher->context);
    result->was_edited = tt_session_was_edited(run);
    if (result->was_edited)
        tt_run_note(run, "a cut sheet or order.csv was saved too late for this run: the next one obeys it");
    return true;
}

bool tt_clean(const struct tt_clean_options *options, const struct tt_clean_watcher *watcher,
              struct tt_clean_result *result, struct tt_error *err)
{
    *result = (struct tt_clean_result){0};
    struct tt_run_state *run = calloc(1, sizeof *run);
    if (!run)
        return tt_fail_memory(err);
    run->options = options;
    run->watcher = watcher;
    run->lock_fd = -1;
    run->earlier_common_gain_db = run->common_gain_db = NAN;
    pthread_mutex_init(&run->mutex, NULL);
    bool ok = run_all(run, result, err);
    free_run(run);
    free(run);
    if (!ok)
        tt_clean_result_free(result);
    return ok;
}

void tt_clean_result_free(struct tt_clean_result *result)
{
    free(result->out_folder);
    free(result->summary);
    free(result->summary_verbose);
    free(result->json);
    *result = (struct tt_clean_result){0};
}
