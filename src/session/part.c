/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/part.h"

#include <errno.h>
#include <fcntl.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "report/json_values.h"

struct sized {
    struct tt_take *take;
    long long size;
};

static int longer_first(const void *a, const void *b)
{
    const struct sized *x = a, *y = b;
    if (x->size != y->size)
        return x->size > y->size ? -1 : 1;
    return strcmp(x->take->file->name, y->take->file->name);
}

bool tt_part_share(struct tt_run_state *run, struct tt_error *err)
{
    const struct tt_clean_options *options = run->options;
    struct sized *order = calloc(run->take_count, sizeof *order);
    if (!order)
        return tt_fail_memory(err);
    for (size_t i = 0; i < run->take_count; i++) {
        struct stat status;
        order[i] = (struct sized){&run->takes[i],
                                  stat(run->takes[i].file->path, &status) == 0 ? (long long)status.st_size : -1};
    }
    qsort(order, run->take_count, sizeof *order, longer_first);
    for (size_t i = 0; i < run->take_count; i++)
        order[i].take->is_ours =
            options->part_count == 0 || i % (size_t)options->part_count == (size_t)options->part - 1;
    free(order);
    return true;
}

bool tt_part_is_all_heard(const struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (!run->takes[i].is_heard && !run->takes[i].has_failed && run->takes[i].is_used)
            return false;
    return true;
}

/* Named by a digest: a take's own name may leave no room for more. */
static char *lock_path(const struct tt_run_state *run, const struct tt_take *take)
{
    char digest[65];
    tt_sha256(take->file->stem, strlen(take->file->stem), digest);
    return tt_format("%s/heard/.%.16s.lock", run->out, digest);
}

int tt_part_lock(const struct tt_run_state *run, const struct tt_take *take)
{
    char *path = run->options->part_count ? lock_path(run, take) : NULL;
    int lock = TT_PART_UNLOCKED;
    while (path) {
        struct stat ours, there;
        lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
        if (lock < 0) {
            lock = TT_PART_UNLOCKED;
            break;
        }
        if (flock(lock, LOCK_EX | LOCK_NB) != 0) { /* a file system without locks: go on */
            bool is_busy = errno == EWOULDBLOCK;
            close(lock);
            lock = is_busy ? TT_PART_BUSY : TT_PART_UNLOCKED;
            break;
        }
        /* Somebody may have taken the file away between opening and locking: then this is a lock on nothing. */
        if (fstat(lock, &ours) == 0 && stat(path, &there) == 0 && ours.st_ino == there.st_ino)
            break;
        close(lock);
    }
    free(path);
    return lock;
}

void tt_part_unlock(const struct tt_run_state *run, const struct tt_take *take, int lock)
{
    if (lock < 0)
        return;
    char *path = lock_path(run, take);
    if (path)
        unlink(path);
    free(path);
    close(lock);
}

static const char *next_step(const struct tt_run_state *run)
{
    if (!tt_part_is_all_heard(run))
        return "When all parts are done: tidytake clean --plan, the parts again, tidytake clean.";
    return "When all parts are done: tidytake clean puts them together.";
}

bool tt_part_sum_up(struct tt_run_state *run, struct tt_clean_result *result, struct tt_error *err)
{
    size_t ours = 0, heard = 0;
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        const bool has_failed = take->has_failed && (take->is_ours || take->is_needed_here);
        result->failed_count += has_failed;
        result->may_pass = result->may_pass || (has_failed && take->error.may_pass);
        if (!take->is_ours)
            continue;
        ours++;
        heard += take->is_heard;
        result->rendered_count += take->is_rendered;
        result->up_to_date_count +=
            !take->has_failed && take->is_used && !take->is_rendered && tt_part_is_all_heard(run);
    }
    result->take_count = ours;
    json_t *json = json_object();
    struct tt_text text = {0};
    bool ok = tt_json_put(json, "part", json_integer(run->options->part)) &&
              tt_json_put(json, "parts", json_integer(run->options->part_count)) &&
              tt_json_put(json, "takes", json_integer((json_int_t)ours)) &&
              tt_json_put(json, "heard", json_integer((json_int_t)heard)) &&
              tt_json_put(json, "rendered", json_integer((json_int_t)result->rendered_count)) &&
              tt_json_put(json, "failed", json_integer((json_int_t)result->failed_count)) &&
              tt_json_put(json, "all_heard", json_boolean(tt_part_is_all_heard(run)));
    ok = ok || tt_fail_memory(err);
    ok = ok && tt_report_json_text(json, &text, err);
    json_decref(json);
    result->json = text.data;
    result->summary =
        tt_format("Part %d of %d: %zu takes, %zu heard, %zu rendered now, %zu failed.\n%s\n", run->options->part,
                  run->options->part_count, ours, heard, result->rendered_count, result->failed_count, next_step(run));
    result->summary_verbose = tt_copy_string(result->summary ? result->summary : "");
    result->out_folder = tt_copy_string(run->out);
    return ok && ((result->summary && result->summary_verbose && result->out_folder) || tt_fail_memory(err));
}
