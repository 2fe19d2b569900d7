/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Hearing a session: what is a recording, which channel carries the voice, and one pass over each take that was not heard yet. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "pipeline/hear.h"
#include "pipeline/picture.h"
#include "session/jobs.h"
#include "session/part.h"
#include "session/session.h"

static bool identify(struct tt_take *take, struct tt_work *work, struct tt_error *err)
{
    struct stat status;
    if (stat(take->file->path, &status) != 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "cannot be read");
    struct tt_identity now = {.size = (long long)status.st_size,
                              .modified_ns = (long long)status.st_mtim.tv_sec * 1000000000LL + status.st_mtim.tv_nsec,
                              .changed_ns = (long long)status.st_ctim.tv_sec * 1000000000LL + status.st_ctim.tv_nsec,
                              .inode = (long long)status.st_ino};
    struct tt_identity *known = &take->identity;
    bool is_same = known->sha256[0] && known->size == now.size && known->modified_ns == now.modified_ns && known->changed_ns == now.changed_ns &&
                   known->inode == now.inode;
    if (!is_same && !take->is_ours) { /* another run's business, and not known yet */
        known->sha256[0] = '\0';
        return true;
    }
    if (!is_same && !tt_file_sha256_while(take->file->path, tt_work_goes_on, work, now.sha256, err))
        return false;
    if (!is_same)
        *known = now;
    return true;
}

/* ---- which channel ---- */

static bool choose_by_policy(const struct tt_settings *settings, int channel_count, struct tt_channel_choice *choice, struct tt_error *err)
{
    int number = settings->take.channel == TT_CHANNEL_LEFT ? 1 : settings->take.channel == TT_CHANNEL_RIGHT ? 2 : settings->take.channel_number;
    if (settings->take.channel == TT_CHANNEL_MIX) {
        *choice = (struct tt_channel_choice){.channel = channel_count > 1 ? -1 : 0};
        snprintf(choice->why, sizeof choice->why, "the mean of %d channels, as asked for", channel_count);
        return true;
    }
    if (channel_count == 1 && settings->take.channel != TT_CHANNEL_NUMBER)
        number = 1;
    if (number > channel_count)
        return tt_fail(err, TT_ERROR_INPUT, "has %d channel%s; [take] channel asks for number %d", channel_count, channel_count == 1 ? "" : "s", number);
    *choice = (struct tt_channel_choice){.channel = number - 1};
    snprintf(choice->why, sizeof choice->why, channel_count == 1 ? "one channel" : "channel %d, as asked for", number);
    return true;
}

/* auto chooses once for all takes with the same number of channels: on the longest of them, so that a session does not jump between microphones. */
static void choose_for_layout(struct tt_run_state *run, int channel_count)
{
    struct tt_channel_choice choice = {.channel = 0};
    bool is_chosen = false;
    for (;;) {
        struct tt_take *longest = NULL;
        for (size_t i = 0; i < run->take_count; i++) {
            struct tt_take *take = &run->takes[i];
            if (!take->has_failed && take->info.channel_count == channel_count && (!longest || take->info.frame_count > longest->info.frame_count))
                longest = take;
        }
        if (!longest)
            return;
        struct tt_channel_stats stats[TT_MOST_CHANNELS];
        struct tt_error error = {0};
        struct tt_work work = {.run = run, .take = longest, .what = "choosing the channel of"};
        int count = 0;
        if (tt_channels_survey(longest->file->path, tt_work_goes_on, &work, stats, &count, &error)) {
            choice = tt_channel_choose(stats, count);
            is_chosen = true;
            break;
        }
        tt_take_fail(run, longest, &error);
    }
    for (size_t i = 0; is_chosen && i < run->take_count; i++)
        if (run->takes[i].info.channel_count == channel_count)
            run->takes[i].channel = choice;
}

static void choose_channels(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        struct tt_error error = {0};
        if (take->has_failed)
            continue;
        if (run->settings.take.channel != TT_CHANNEL_AUTO) {
            if (!choose_by_policy(&run->settings, take->info.channel_count, &take->channel, &error))
                tt_take_fail(run, take, &error);
        } else if (take->info.channel_count == 1) {
            take->channel = (struct tt_channel_choice){.channel = 0, .why = "one channel"};
        } else if (take->channel.why[0] == '\0') {
            choose_for_layout(run, take->info.channel_count);
        }
    }
}

/* ---- jobs ---- */

static void open_take(void *context, size_t item)
{
    struct tt_run_state *run = context;
    struct tt_take *take = &run->takes[item];
    struct tt_error error = {0};
    struct tt_reader *reader = NULL;
    struct tt_work work = {.run = run, .take = take, .what = "reading"};
    /* Opened first: what is no sound file, or a pipe that nobody writes to, is not read through. */
    bool ok = !atomic_load(&run->is_stopped) ? (reader = tt_reader_open(take->file->path, &take->info, &error)) != NULL && identify(take, &work, &error)
                                             : tt_fail(&error, TT_ERROR_STOPPED, "stopped");
    tt_reader_close(reader);
    if (!ok)
        tt_take_fail(run, take, &error);
}

static void hear_take(void *context, size_t item)
{
    struct tt_run_state *run = context;
    struct tt_take *take = &run->takes[item];
    struct tt_error error = {0};
    struct tt_work work = {.run = run, .take = take, .what = "hearing", .frames = (double)take->info.frame_count};
    struct tt_hear_request request = {.path = take->file->path,
                                      .heard_path = take->heard_path,
                                      .content_sha256 = take->identity.sha256,
                                      .hearing_key = take->hearing_key,
                                      .channel = take->channel,
                                      .settings = &run->settings,
                                      .has_second_thread = run->has_spare_threads,
                                      .picture_prefix = tt_run_wants_pictures(run) ? take->before_prefix : NULL,
                                      .tick = tt_work_tick,
                                      .tick_context = &work};
    int lock = tt_part_lock(run, take);
    if (lock == TT_PART_BUSY)
        return;
    bool ok = !atomic_load(&run->is_stopped) ? tt_hear(&request, &error) : tt_fail(&error, TT_ERROR_STOPPED, "stopped");
    tt_part_unlock(run, take, lock);
    ok = ok && tt_heard_open(take->heard_path, take->identity.sha256, take->hearing_key, &take->heard, &error);
    take->is_heard = ok;
    if (!ok)
        tt_take_fail(run, take, &error);
    else
        tt_work_end(&work, "heard");
}

bool tt_session_hear(struct tt_run_state *run, struct tt_error *err)
{
    double *weights = calloc(run->take_count, sizeof *weights);
    if (!weights)
        return tt_fail_memory(err);
    for (size_t i = 0; i < run->take_count; i++)
        weights[i] = run->takes[i].has_failed ? 0 : 1;
    bool ok = tt_jobs_run(run->take_count, weights, run->options->jobs, open_take, run, err);
    if (ok)
        choose_channels(run);
    for (size_t i = 0; ok && i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        weights[i] = 0;
        if (take->has_failed)
            continue;
        if (!tt_hearing_key(&run->settings, take->channel.channel, take->hearing_key, err)) {
            ok = false;
            break;
        }
        take->is_heard = !run->options->is_again && (!tt_run_wants_pictures(run) || tt_picture_exists(take->before_prefix)) &&
                         tt_heard_open(take->heard_path, take->identity.sha256, take->hearing_key, &take->heard, NULL);
        if (!take->is_heard && take->is_ours)
            weights[i] = (double)take->info.frame_count + 1;
        run->work_total += (take->is_heard || !take->is_ours ? 0 : (double)take->info.frame_count);
    }
    run->has_spare_threads = tt_jobs_have_spare(run->take_count, weights, run->options->jobs);
    ok = ok && tt_jobs_run(run->take_count, weights, run->options->jobs, hear_take, run, err);
    free(weights);
    return ok;
}
