/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The folder is looked at again whenever something moved in it, or after a while where no notice of that is to be had
 * (network file systems, lost events): what was seen decides, not the events. A session is worked on when it looks
 * otherwise than at its last run and has kept still for settle_s. */
#include "session/watch.h"

#include <math.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <time.h>

#include "base/text.h"
#include "session/folders.h"
#include "session/watch_parts.h"

static bool stopped(const struct tt_watch *watch) { return watch->options->stop && *watch->options->stop; }

/* A slow copy may pause for longer than settle_s: a head that promises more than is there says so. After this many
 * times settle_s the rest is given up. */
static const double patience = 15;

/* How long until a session is due: 0 for one that is, below 0 for one that need not be run. */
static double time_left_s(const struct tt_watch *watch, const struct tt_watched *session, bool is_changed)
{
    if (!session->is_there || session->seen.take_count == 0 || (!is_changed && !session->may_pass))
        return -1;
    if (!is_changed)
        return fmax(0, session->again_at_s - tt_watch_now_s());
    const double settle_s = watch->settings.watch.settle_s,
                 left_s = session->still_since_s + settle_s - tt_watch_now_s();
    if (left_s > 0)
        return left_s;
    return -left_s < (patience - 1) * settle_s && tt_watched_is_arriving(session) ? settle_s : 0;
}

/* Runs sessions that are due; *wait_s becomes the time until one could be. */
static void run_due(struct tt_watch *watch, double *wait_s, bool *is_busy)
{
    *is_busy = false;
    const bool is_out_away = tt_watch_out_is_away(watch);
    for (size_t i = 0; i < watch->count && !is_out_away && !stopped(watch); i++) {
        struct tt_watched *session = &watch->sessions[i];
        const bool is_changed = !session->has_run || !tt_snapshot_equal(&session->seen, &session->done);
        const double left_s = time_left_s(watch, session, is_changed);
        *is_busy = *is_busy || (is_changed && left_s >= 0);
        if (left_s >= 0)
            *wait_s = fmin(*wait_s, left_s);
        if (left_s == 0)
            tt_watch_run(watch, session, !is_changed);
    }
}

static bool load(struct tt_watch *watch, struct tt_error *err)
{
    return tt_watch_load(watch, watch->folder, &watch->settings, err);
}

static bool all_are_done(const struct tt_watch *watch, struct tt_error *err)
{
    size_t failed = 0;
    for (size_t i = 0; i < watch->count; i++)
        failed += watch->sessions[i].is_there ? watch->sessions[i].failed_count : 0;
    return failed == 0 ||
           tt_fail(err, TT_ERROR_INPUT, "%zu take%s or session%s could not be done: the lines above say what to do",
                   failed, failed == 1 ? "" : "s", failed == 1 ? "" : "s");
}

/* Each file of thousands that arrive gives notice, and a look is at all of them: looking takes a fifth of the time at
 * most. */
static void rest_from(double look_s)
{
    static const double rests_per_look = 4, most_s = 0.5;
    const double rest_s = fmin(rests_per_look * look_s, most_s);
    nanosleep(&(struct timespec){.tv_nsec = (long)(rest_s * 1e9)}, NULL);
}

static void reload(struct tt_watch *watch)
{
    struct tt_error error = {0};
    if (!watch->options->reload || !*watch->options->reload)
        return;
    *watch->options->reload = 0;
    tt_watch_note(watch, "%s", load(watch, &error) ? "settings read again" : error.message);
    for (size_t i = 0; i < watch->count; i++)
        watch->sessions[i].has_run = false;
}

static bool work(struct tt_watch *watch, struct tt_error *err)
{
    /* Also with notices: network file systems give none, and a signal may come just before the wait. */
    const double look_again_s = tt_watch_pulse_s(watch);
    while (!stopped(watch)) {
        double wait_s = look_again_s;
        bool is_busy = false;
        struct tt_error error = {0};
        reload(watch);
        const double began_s = tt_watch_now_s();
        const bool is_seen = tt_watch_look(watch, watch->options->is_once ? err : &error);
        const double look_s = tt_watch_now_s() - began_s;
        if (is_seen)
            run_due(watch, &wait_s, &is_busy);
        else if (watch->options->is_once)
            return false;
        else
            tt_watch_folder_lost(watch, &error);
        if (watch->options->is_once && !is_busy)
            return all_are_done(watch, err);
        if (wait_s > 0 && !stopped(watch)) {
            rest_from(look_s);
            tt_notice_wait(watch->notice, wait_s);
        }
    }
    return true;
}

bool tt_watch(const struct tt_watch_options *options, const struct tt_watch_words *words, struct tt_error *err)
{
    struct tt_watch watch = {.options = options, .words = words, .folder = tt_resolve_path(options->folder, err)};
    struct stat status;
    bool ok = watch.folder != NULL;
    if (ok && (stat(watch.folder, &status) != 0 || !S_ISDIR(status.st_mode)))
        ok = tt_fail(err, TT_ERROR_USAGE, "%s: not a folder; name the one in which recordings arrive", options->folder);
    if (ok && tt_is_out_folder(watch.folder))
        ok = tt_fail(err, TT_ERROR_USAGE, "%s: this is what a run left; watch the folder with the recordings",
                     options->folder);
    if (ok) {
        watch.out = options->out ? tt_resolve_path(options->out, err) : tt_format("%s.tidy", watch.folder);
        ok = watch.out || tt_fail_memory(err);
    }
    if (ok && load(&watch, err)) {
        watch.notice = tt_notice_open();
        if (!options->is_once)
            tt_watch_note(&watch, "watching %s, results in %s", watch.folder, watch.out);
        ok = work(&watch, err);
    } else {
        ok = false;
    }
    for (size_t i = 0; i < watch.count; i++)
        tt_watched_free(&watch.sessions[i]);
    free(watch.sessions);
    tt_notice_close(watch.notice);
    free(watch.folder);
    free(watch.out);
    return ok;
}
