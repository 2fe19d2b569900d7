/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Words and progress for the caller, and what is remembered for the reports. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "session/run.h"

void tt_run_note(struct tt_run_state *run, const char *format, ...)
{
    if (!run->watcher || !run->watcher->note)
        return;
    char line[900];
    va_list args;
    va_start(args, format);
    vsnprintf(line, sizeof line, format, args);
    va_end(args);
    tt_make_one_line(line);
    pthread_mutex_lock(&run->mutex);
    run->watcher->note(run->watcher->context, line);
    pthread_mutex_unlock(&run->mutex);
}

static void fill_warning(struct tt_warning *warning, const char *code, double at_s, const char *format, va_list args)
{
    *warning = (struct tt_warning){.at_s = at_s};
    snprintf(warning->code, sizeof warning->code, "%s", code);
    vsnprintf(warning->message, sizeof warning->message, format, args);
}

void tt_take_warn(struct tt_take *take, const char *code, double at_s, const char *format, ...)
{
    if (take->warning_count == TT_MOST_TAKE_WARNINGS)
        return;
    va_list args;
    va_start(args, format);
    fill_warning(&take->warnings[take->warning_count++], code, at_s, format, args);
    va_end(args);
}

void tt_run_warn(struct tt_run_state *run, const char *code, const char *format, ...)
{
    if (run->warning_count == TT_MOST_TAKE_WARNINGS)
        return;
    va_list args;
    bool is_new = true;
    va_start(args, format);
    fill_warning(&run->warnings[run->warning_count], code, NAN, format, args);
    /* What is decided twice, since a sheet was saved meanwhile, is told once. */
    for (size_t i = 0; i < run->warning_count; i++)
        is_new = is_new && strcmp(run->warnings[i].message, run->warnings[run->warning_count].message) != 0;
    run->warning_count += is_new;
    va_end(args);
}

/* What is wrong, without the take's path in front, which stands there as errors show it. */
static const char *behind_path(const char *message, const char *path)
{
    struct tt_error shown = {0};
    tt_fail(&shown, TT_ERROR_INPUT, "%s: ", path);
    const size_t length = strlen(shown.message);
    return strncmp(message, shown.message, length) == 0 ? message + length : message;
}

void tt_take_fail(struct tt_run_state *run, struct tt_take *take, const struct tt_error *error)
{
    take->has_failed = true;
    take->error = (struct tt_error){0};
    tt_fail(&take->error, error->kind, "%s: %s", take->file->name, behind_path(error->message, take->file->path));
    take->error.may_pass = error->may_pass;
    if (error->kind == TT_ERROR_STOPPED)
        atomic_store(&run->is_stopped, true);
    else if (take->is_ours || take->is_needed_here) /* else another part tells */
        tt_run_note(run, "%s", take->error.message);
}

bool tt_run_is_going(struct tt_run_state *run, struct tt_error *err)
{
    return !atomic_load(&run->is_stopped) || tt_fail(err, TT_ERROR_STOPPED, "stopped");
}

static bool goes_on(struct tt_run_state *run, double share, const char *what)
{
    pthread_mutex_lock(&run->mutex);
    if (run->watcher && run->watcher->progress && !run->watcher->progress(run->watcher->context, share, NULL, what))
        atomic_store(&run->is_stopped, true);
    pthread_mutex_unlock(&run->mutex);
    return !atomic_load(&run->is_stopped);
}

bool tt_run_goes_on(void *context) { return goes_on(context, 1, "narration"); }

bool tt_run_decides_on(void *context)
{
    struct tt_run_state *run = context;
    return goes_on(run, run->share_told, "deciding");
}

bool tt_work_tick(void *context, double share_of_take)
{
    struct tt_work *work = context;
    struct tt_run_state *run = work->run;
    if (atomic_load(&run->is_stopped))
        return false;
    if (!run->watcher || !run->watcher->progress)
        return true;
    pthread_mutex_lock(&run->mutex);
    run->work_done += work->frames * share_of_take - work->reported;
    work->reported = work->frames * share_of_take;
    const double total = run->work_total + run->work_expected, share = total > 0 ? run->work_done / total : 0;
    run->share_told = fmin(fmax(share, run->share_told), 1);
    bool goes_on = run->watcher->progress(run->watcher->context, run->share_told, work->take->file->name, work->what);
    pthread_mutex_unlock(&run->mutex);
    if (!goes_on)
        atomic_store(&run->is_stopped, true);
    return goes_on;
}

bool tt_work_goes_on(void *context) { return tt_work_tick(context, 0); }

void tt_work_end(struct tt_work *work, const char *done)
{
    struct tt_run_state *run = work->run;
    tt_work_tick(work, 1);
    if (!run->watcher || !run->watcher->take_done)
        return;
    pthread_mutex_lock(&run->mutex);
    run->watcher->take_done(run->watcher->context, work->take->file->name, done);
    pthread_mutex_unlock(&run->mutex);
}
