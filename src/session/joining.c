/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One recording that a recorder cut into several files: each goes on at the frame where the one before it ends (EBU
 * Tech 3285, TimeReference). They are heard, cut and rendered as one. */
#include <stdio.h>
#include <string.h>

#include "base/file.h"
#include "base/grow.h"
#include "base/text.h"
#include "session/joining.h"

static bool is_whole(const struct tt_run_state *run, const struct tt_take *take)
{
    if (take->has_failed || !take->is_used || take->is_pickup || take->first_of_file || take->from_ms > 0 ||
        take->to_ms >= 0)
        return false;
    for (size_t i = 0; i < run->take_count; i++)
        if (run->takes[i].first_of_file == take)
            return false;
    return true;
}

/* To the frame: hands on buttons are never that quick. */
static bool goes_on(const struct tt_audio_info *a, const struct tt_audio_info *b)
{
    const int64_t day = INT64_C(86400) * a->rate_hz;
    return a->time_reference >= 0 && b->time_reference >= 0 && a->rate_hz == b->rate_hz &&
           a->channel_count == b->channel_count && strcmp(a->format_name, b->format_name) == 0 && !a->is_truncated &&
           a->frame_count > 0 && (a->time_reference + a->frame_count) % day == b->time_reference % day;
}

static bool may_follow(const struct tt_run_state *run, const struct tt_take *head, const struct tt_take *next)
{
    return is_whole(run, next) && !next->own_settings && (!next->piece[0] || strcmp(next->piece, head->piece) == 0);
}

static bool append(struct tt_take *head, struct tt_take *next, struct tt_error *err)
{
    const struct tt_take **more = tt_grow_by_one(head->more, head->more_count, sizeof *more, err);
    if (!more)
        return false;
    head->more = more;
    const char **paths = tt_grow_by_one(head->more_paths, head->more_count, sizeof *paths, err);
    if (!paths)
        return false;
    head->more_paths = paths;
    more[head->more_count] = next;
    paths[head->more_count++] = next->recording->path;
    next->is_used = false;
    next->is_ours = head->is_ours; /* who hears the first file reads them all */
    snprintf(next->why, sizeof next->why, "goes on from %.40s: heard as one", head->file->name);
    return true;
}

static void tell(struct tt_run_state *run, const struct tt_take *head)
{
    char more[40] = "";
    if (head->more_count > 1)
        snprintf(more, sizeof more, " and %zu more", head->more_count - 1);
    if (head->more_count > 0)
        tt_run_note(run,
                    "%s goes on in %s%s without a gap: the recorder had split one recording; they are heard as one",
                    head->file->name, head->more[0]->file->name, more);
}

bool tt_session_join(struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *head = &run->takes[i];
        head->own_frames = head->info.frame_count;
        if (!is_whole(run, head))
            continue;
        struct tt_audio_info last = head->info;
        for (size_t j = i + 1;
             j < run->take_count && may_follow(run, head, &run->takes[j]) && goes_on(&last, &run->takes[j].info); j++) {
            last = run->takes[j].info;
            head->info.frame_count += last.frame_count;
            head->info.is_truncated = last.is_truncated;
            head->info.plays_in_browser = false; /* no one file holds it all */
            if (!append(head, &run->takes[j], err))
                return false;
        }
        tell(run, head);
    }
    return true;
}

bool tt_session_find_contents(struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        struct tt_text all = {0};
        snprintf(take->content_sha256, sizeof take->content_sha256, "%s", take->identity.sha256);
        if (take->has_failed || take->more_count == 0)
            continue;
        tt_text_addf(&all, "%s\n", take->identity.sha256);
        for (size_t j = 0; j < take->more_count; j++) {
            tt_text_addf(&all, "%s\n", take->more[j]->identity.sha256);
            if (take->more[j]->has_failed)
                tt_take_fail(run, take, &take->more[j]->error);
        }
        bool ok = !all.has_failed || tt_fail_memory(err);
        if (ok)
            tt_sha256(all.data, all.length, take->content_sha256);
        tt_text_free(&all);
        if (!ok)
            return false;
    }
    return true;
}
