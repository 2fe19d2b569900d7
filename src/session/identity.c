/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/identity.h"

#include <errno.h>
#include <stdio.h>
#include <sys/stat.h>

#include "base/file.h"

/* All but the digest. */
static bool look_at(const struct tt_take *take, struct tt_identity *now, struct tt_error *err)
{
    struct stat status;
    if (stat(take->recording->path, &status) != 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "cannot be read");
    *now = (struct tt_identity){.size = (long long)status.st_size,
                                .modified_ns = tt_file_time_ns(status.st_mtim),
                                .changed_ns = tt_file_time_ns(status.st_ctim),
                                .inode = (long long)status.st_ino};
    return true;
}

bool tt_identity_find(struct tt_take *take, struct tt_work *work, struct tt_error *err)
{
    struct tt_identity now;
    if (!look_at(take, &now, err))
        return false;
    struct tt_identity *known = &take->identity;
    bool is_same = known->sha256[0] && known->size == now.size && known->modified_ns == now.modified_ns &&
                   known->changed_ns == now.changed_ns && known->inode == now.inode;
    if (!is_same && !take->is_ours) { /* another run's business, and not known yet */
        known->sha256[0] = '\0';
        return true;
    }
    if (!is_same && !tt_file_sha256_while(take->recording->path, tt_work_goes_on, work, now.sha256, err))
        return false;
    if (!is_same)
        *known = now;
    return true;
}

/* Files that are joined or divided are identified by one another. */
static bool are_takes_files(const struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (run->takes[i].first_of_file || run->takes[i].more_count > 0)
            return false;
    return !run->options->part_count;
}

void tt_identity_put_off(struct tt_run_state *run, double *weights)
{
    if (!are_takes_files(run))
        return;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        take->is_identified_late =
            take->is_used && weights[i] > 0 && !take->identity.sha256[0] && !tt_file_exists(take->heard_path);
        if (take->is_identified_late)
            weights[i] = 0;
    }
}

static bool finish_digest(struct tt_late_identity *late)
{
    if (!tt_file_digest_finish(late->digest, tt_work_goes_on, &late->work, late->identity.sha256, &late->error))
        return false;
    late->take->identity = late->identity;
    return true;
}

static void find(struct tt_late_identity *late)
{
    late->is_found = late->digest ? finish_digest(late) : tt_identity_find(late->take, &late->work, &late->error);
    late->is_done = true;
}

static void *find_in_thread(void *late)
{
    find(late);
    return NULL;
}

void tt_identity_begin(struct tt_late_identity *late, struct tt_run_state *run, struct tt_take *take)
{
    *late = (struct tt_late_identity){.take = take, .work = {.run = run, .take = take, .what = "reading"}};
    late->has_thread = run->has_spare_threads && pthread_create(&late->thread, NULL, find_in_thread, late) == 0;
    if (!late->has_thread && look_at(take, &late->identity, NULL))
        late->digest = tt_file_digest_open(take->recording->path, NULL); /* what fails here fails again at the end */
}

void tt_identity_show_late(void *opaque, int64_t offset, const void *data, size_t size)
{
    struct tt_late_identity *late = opaque;
    if (late->digest)
        tt_file_digest_show(late->digest, offset, data, size);
}

void tt_identity_end(struct tt_late_identity *late)
{
    if (late->has_thread)
        pthread_join(late->thread, NULL);
    late->has_thread = false;
    tt_file_digest_close(late->digest);
    late->digest = NULL;
    if (late->is_done && late->is_found)
        snprintf(late->take->content_sha256, sizeof late->take->content_sha256, "%s", late->take->identity.sha256);
}

const char *tt_identity_of_late(void *opaque, struct tt_error *err)
{
    struct tt_late_identity *late = opaque;
    if (!late->has_thread && !late->is_done)
        find(late);
    tt_identity_end(late);
    (void)tt_error_pass_on(&late->error, err);
    return late->is_found ? late->take->content_sha256 : NULL;
}

void tt_identity_catch_up(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        struct tt_work work = {.run = run, .take = take, .what = "reading"};
        if (take->is_identified_late && !take->identity.sha256[0] && tt_identity_find(take, &work, NULL))
            snprintf(take->content_sha256, sizeof take->content_sha256, "%s", take->identity.sha256);
    }
}
