/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Hearing a session: what is a recording, and one pass over each take that was not heard yet. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "base/units.h"
#include "pipeline/hear.h"
#include "pipeline/picture.h"
#include "session/identity.h"
#include "session/jobs.h"
#include "session/joining.h"
#include "session/part.h"
#include "session/recorded.h"
#include "session/space.h"
#include "session/steps.h"
#include "session/take_channels.h"

static void open_take(void *context, size_t item)
{
    struct tt_run_state *run = context;
    struct tt_take *take = &run->takes[item];
    struct tt_error error = {0};
    struct tt_reader *reader =
        tt_run_is_going(run, &error) ? tt_reader_open(take->file->path, &take->info, &error) : NULL;
    const bool ok = reader != NULL;
    const char *what = take->info.has_no_sound          ? "no sound in it, only pictures"
                       : ok && take->info.is_our_output ? "made by tidytake, no recording"
                                                        : NULL;
    tt_reader_close(reader);
    if (what) { /* no take: passed over like other files */
        take->is_used = false;
        snprintf(take->why, sizeof take->why, "%s", what);
        tt_run_note(run, "%s was passed over: %s", take->file->name, what);
    } else if (!ok) {
        tt_take_fail(run, take, &error);
    }
}

/* Behind opening: what is no sound file, or a pipe that nobody writes to, is not read through. */
static void identify_take(void *context, size_t item)
{
    struct tt_run_state *run = context;
    struct tt_take *take = &run->takes[item];
    struct tt_error error = {0};
    struct tt_work work = {.run = run, .take = take, .what = "reading"};
    if (!tt_run_is_going(run, &error) || !tt_identity_find(take, &work, &error))
        tt_take_fail(run, take, &error);
}

static void hear_take(void *context, size_t item)
{
    struct tt_run_state *run = context;
    struct tt_take *take = &run->takes[item];
    struct tt_error error = {0};
    struct tt_work work = {.run = run, .take = take, .what = "hearing", .frames = (double)take->info.frame_count};
    struct tt_late_identity late;
    struct tt_hear_request request = {.path = take->file->path,
                                      .more_paths = take->more_paths,
                                      .more_count = take->more_count,
                                      .heard_path = take->heard_path,
                                      .content_sha256 = take->content_sha256,
                                      .find_content = take->is_identified_late ? tt_identity_of_late : NULL,
                                      .show_content = take->is_identified_late ? tt_identity_show_late : NULL,
                                      .content_context = &late,
                                      .hearing_key = take->hearing_key,
                                      .channel = take->channel,
                                      .settings = tt_take_settings(run, take),
                                      .has_second_thread = run->has_spare_threads,
                                      .picture_prefix = tt_run_wants_pictures(run) ? take->before_prefix : NULL,
                                      .tick = tt_work_tick,
                                      .tick_context = &work};
    int lock = tt_part_lock(run, take);
    if (lock == TT_PART_BUSY)
        return;
    if (take->is_identified_late)
        tt_identity_begin(&late, run, take);
    bool ok = tt_run_is_going(run, &error) && tt_hear(&request, &error);
    if (take->is_identified_late)
        tt_identity_end(&late);
    tt_part_unlock(run, take, lock);
    ok = ok && tt_heard_open(take->heard_path, take->content_sha256, take->hearing_key, &take->heard, &error);
    take->is_heard = ok;
    if (!ok)
        tt_take_fail(run, take, &error);
    else
        tt_work_end(&work, "heard");
}

/* Parts of one recording: it was opened once. */
static void share_opened(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        const struct tt_take *first = take->first_of_file;
        if (!first || take->has_failed)
            continue;
        take->info = first->info;
        if (!first->is_used && first->why[0]) { /* passed over */
            take->is_used = false;
            snprintf(take->why, sizeof take->why, "%s", first->why);
        }
        if (first->has_failed)
            tt_take_fail(run, take, &first->error);
    }
}

static int64_t frames_of_ms(const struct tt_take *take, int64_t ms)
{
    return tt_frames_from_ms((double)ms, take->info.rate_hz);
}

/* The running order's times against the lengths, which are known only now. A faulty order stops the run before anything
 * is heard. */
static bool check_parts(const struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        char end[TT_TIME_CHARS];
        const int64_t most =
            take->info.frame_count + take->info.rate_hz / 2; /* times are often noted down to the second */
        if (take->has_failed || !take->is_used || (take->from_ms == 0 && take->to_ms < 0))
            continue;
        if (frames_of_ms(take, take->from_ms) < take->info.frame_count &&
            (take->to_ms < 0 || frames_of_ms(take, take->to_ms) <= most))
            continue;
        tt_time_format((int64_t)tt_ms_from_frames(take->info.frame_count, take->info.rate_hz), end);
        return tt_fail(err, TT_ERROR_USAGE,
                       "order.csv:%d: %s ends at %s, a time in this row lies behind that; write an earlier one",
                       take->order_line, take->recording->name, end);
    }
    return true;
}

/* Takes that share a file of what was heard: the first of them hears. */
static bool is_heard_by_another(const struct tt_run_state *run, size_t index)
{
    const struct tt_take *take = &run->takes[index];
    for (size_t i = 0; take->first_of_file && i < index; i++)
        if (run->takes[i].is_used && !run->takes[i].has_failed &&
            strcmp(run->takes[i].heard_path, take->heard_path) == 0)
            return true;
    return false;
}

static void open_shared(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        struct tt_error error = {0};
        if (take->has_failed || !take->is_used)
            continue;
        if (!take->is_heard)
            take->is_heard =
                tt_heard_open(take->heard_path, take->content_sha256, take->hearing_key, &take->heard, &error);
        if (!take->is_heard && !run->options->part_count) /* else another run is at work on it, or will be */
            tt_take_fail(run, take, &error);
        if (take->is_heard && (take->from_ms > 0 || take->to_ms >= 0) &&
            !tt_heard_narrow(&take->heard, frames_of_ms(take, take->from_ms),
                             take->to_ms < 0 ? take->heard.facts.frame_count : frames_of_ms(take, take->to_ms), &error))
            tt_take_fail(run, take, &error);
    }
}

static bool find_unheard(struct tt_run_state *run, double *weights, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        weights[i] = 0;
        if (take->has_failed || !take->is_used)
            continue;
        if (!tt_hearing_key(tt_take_settings(run, take), &take->channel, take->hearing_key, err))
            return false;
        if (take->is_ours && !run->options->is_plan)
            run->work_expected += (double)take->info.frame_count;
        if (is_heard_by_another(run, i))
            continue;
        take->is_heard = !run->options->is_again &&
                         (!tt_run_wants_pictures(run) || tt_picture_exists(take->before_prefix)) &&
                         tt_heard_open(take->heard_path, take->content_sha256, take->hearing_key, &take->heard, NULL);
        if (take->is_heard)
            continue;
        if (!take->is_ours) /* another run's share */
            continue;
        weights[i] = (double)take->info.frame_count + 1;
        run->work_total += (double)take->info.frame_count;
    }
    return true;
}

/* Weight 1 for each recording that is there. */
static void weigh_recordings(const struct tt_run_state *run, double *weights)
{
    for (size_t i = 0; i < run->take_count; i++)
        weights[i] = run->takes[i].has_failed || run->takes[i].first_of_file ? 0 : 1;
}

/* Headers first: a faulty order and a full disk are told before anything long is begun. */
static bool open_all(struct tt_run_state *run, double *weights, struct tt_error *err)
{
    weigh_recordings(run, weights);
    if (!tt_jobs_run(run->take_count, weights, run->options->jobs, open_take, run, err))
        return false;
    share_opened(run);
    if (!check_parts(run, err) || !tt_session_join(run, err) || !tt_session_check_space(run, err))
        return false;
    tt_session_check_medium(run, "/sys");
    tt_session_check_times(run);
    weigh_recordings(run, weights);
    tt_identity_put_off(run, weights);
    if (!tt_jobs_run(run->take_count, weights, run->options->jobs, identify_take, run, err))
        return false;
    for (size_t i = 0; i < run->take_count; i++)
        if (run->takes[i].first_of_file)
            run->takes[i].identity = run->takes[i].first_of_file->identity;
    tt_session_tell_changed(run);
    return tt_session_find_contents(run, err);
}

bool tt_session_hear(struct tt_run_state *run, struct tt_error *err)
{
    double *weights = calloc(run->take_count + 1, sizeof *weights);
    if (!weights)
        return tt_fail_memory(err);
    bool ok = open_all(run, weights, err);
    if (ok)
        tt_session_choose_channels(run);
    ok = ok && find_unheard(run, weights, err);
    if (ok)
        run->has_spare_threads = tt_jobs_have_spare(run->take_count, weights, run->options->jobs);
    ok = ok && tt_jobs_run(run->take_count, weights, run->options->jobs, hear_take, run, err);
    tt_identity_catch_up(run);
    if (ok)
        open_shared(run);
    free(weights);
    return ok;
}
