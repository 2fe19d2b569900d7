/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The folder is looked at again whenever something moved in it, or after a while where no notice of that is to be had
 * (network file systems, lost events): what was seen decides, not the events. A session is worked on when it looks
 * otherwise than at its last run and has kept still for settle_s. */
#include "session/watch.h"

#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <spawn.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#include "audio/reader.h"
#include "base/file.h"
#include "base/text.h"
#include "session/load_settings.h"
#include "session/notice.h"
#include "session/snapshot.h"
#include "session/takes.h"

extern char **environ;

struct watched {
    char *folder, *out;
    struct tt_snapshot seen; /* at the last look */
    struct tt_snapshot done; /* before the last run */
    double still_since_s;    /* monotonic: since when seen looks as it does */
    bool has_run, is_there;
    char **said; /* complaints about takes, each once until the takes change */
    size_t said_count;
    size_t failed_count; /* takes in its last run; 1 where the session itself failed */
};

struct watch {
    const struct tt_watch_options *options;
    const struct tt_watch_words *words;
    char *folder, *out;
    struct tt_settings settings;
    struct watched *sessions;
    size_t count;
    struct tt_notice *notice; /* NULL: looking again after a while only */
};

/* Who is told what in a run. */
struct listener {
    struct watch *watch;
    struct watched *session;
};

static double now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

static void hand_over(void (*hear)(void *, const char *), void *context, const char *format, va_list args)
{
    char line[900];
    vsnprintf(line, sizeof line, format, args);
    tt_make_one_line(line);
    if (hear)
        hear(context, line);
}

static void sum_up(const struct watch *watch, const char *format, ...) TT_PRINTF(2, 3);
static void sum_up(const struct watch *watch, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    hand_over(watch->words->sum_up, watch->words->context, format, args);
    va_end(args);
}

static void note(const struct watch *watch, const char *format, ...) TT_PRINTF(2, 3);
static void note(const struct watch *watch, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    hand_over(watch->words->note, watch->words->context, format, args);
    va_end(args);
}

static void forget_words(struct watched *session)
{
    for (size_t i = 0; i < session->said_count; i++)
        free(session->said[i]);
    free(session->said);
    session->said = NULL;
    session->said_count = 0;
}

static void watched_free(struct watched *session)
{
    forget_words(session);
    tt_snapshot_free(&session->seen);
    tt_snapshot_free(&session->done);
    free(session->folder);
    free(session->out);
}

/* ---- finding sessions ---- */

/* A sub-folder may have the name of the folder that it is in: the second of one name gets a number. */
static char *free_out(const struct watch *watch, const char *name)
{
    char *out = tt_path_join(watch->out, name);
    int number = 1;
    for (size_t i = 0; out && i < watch->count; i++)
        if (strcmp(watch->sessions[i].out, out) == 0) {
            free(out);
            out = tt_format("%s/%s (%d)", watch->out, name, ++number);
            i = (size_t)-1; /* from the first again */
        }
    return out;
}

static struct watched *find_session(struct watch *watch, const char *folder, const char *name, struct tt_error *err)
{
    for (size_t i = 0; i < watch->count; i++)
        if (strcmp(watch->sessions[i].folder, folder) == 0)
            return &watch->sessions[i];
    struct watched *grown = realloc(watch->sessions, (watch->count + 1) * sizeof *grown);
    if (!grown) {
        tt_fail_memory(err);
        return NULL;
    }
    watch->sessions = grown;
    struct watched *session = &watch->sessions[watch->count];
    *session =
        (struct watched){.folder = tt_copy_string(folder), .out = free_out(watch, name), .still_since_s = now_s()};
    if (!session->folder || !session->out) {
        watched_free(session);
        tt_fail_memory(err);
        return NULL;
    }
    watch->count++;
    tt_notice_folder(watch->notice, folder);
    return session;
}

static bool look_at(struct watch *watch, const char *folder, const char *name, struct tt_error *err)
{
    struct watched *session = find_session(watch, folder, name, err);
    struct tt_snapshot now;
    if (!session || !tt_snapshot_take(folder, session->out, &now, err))
        return false;
    session->is_there = true;
    if (!tt_snapshot_equal(&now, &session->seen))
        session->still_since_s = now_s();
    tt_snapshot_free(&session->seen);
    session->seen = now;
    return true;
}

static bool look_around(struct watch *watch, struct tt_error *err)
{
    for (size_t i = 0; i < watch->count; i++)
        watch->sessions[i].is_there = false;
    DIR *folder = opendir(watch->folder);
    if (!folder)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be watched any longer", watch->folder);
    bool ok = look_at(watch, watch->folder, tt_path_name(watch->folder), err);
    struct dirent *entry;
    while (ok && (ok = tt_folder_next(folder, watch->folder, &entry, err)) && entry) {
        struct stat status;
        if (entry->d_name[0] == '.')
            continue;
        char *path = tt_path_join(watch->folder, entry->d_name);
        ok = path || tt_fail_memory(err);
        bool is_session = ok && lstat(path, &status) == 0 && S_ISDIR(status.st_mode) && strcmp(path, watch->out) != 0 &&
                          !tt_is_out_folder(path);
        if (is_session)
            ok = look_at(watch, path, entry->d_name, err);
        free(path);
    }
    closedir(folder);
    return ok;
}

/* ---- running ---- */

/* A take that cannot be done is complained about once, not with every run of its session. */
static void note_once(void *context, const char *line)
{
    struct listener *listener = context;
    struct watched *session = listener->session;
    for (size_t i = 0; i < session->said_count; i++)
        if (strcmp(session->said[i], line) == 0)
            return;
    char **grown = realloc(session->said, (session->said_count + 1) * sizeof *grown);
    if (grown) {
        session->said = grown;
        if ((grown[session->said_count] = tt_copy_string(line)))
            session->said_count++;
    }
    note(listener->watch, "%s: %s", tt_path_name(session->folder), line);
}

static bool progress(void *context, double share, const char *take, const char *what)
{
    (void)share;
    (void)take;
    (void)what;
    const struct watch *watch = ((struct listener *)context)->watch;
    return !watch->options->stop || !*watch->options->stop;
}

/* The program of [watch] then, without a shell, with the session page as its argument. */
static void run_then(struct watch *watch, const struct tt_settings *settings, const char *out)
{
    if (!settings->watch.then[0])
        return;
    char *page = tt_path_join(out, settings->report.page ? "index.html" : "session.json");
    char program[TT_SETTING_TEXT_CHARS];
    snprintf(program, sizeof program, "%s", settings->watch.then);
    char *const arguments[] = {program, page, NULL};
    pid_t child;
    int problem = page ? posix_spawnp(&child, program, NULL, NULL, arguments, environ) : ENOMEM, status = 0;
    if (problem)
        note(watch, "watch.then: %s: %s", program, strerror(problem));
    else if (waitpid(child, &status, 0) == child && status != 0)
        note(watch, "watch.then: %s: ended with status %d", program,
             WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status));
    free(page);
}

static bool load_for(const struct watch *watch, const char *folder, struct tt_settings *settings, struct tt_error *err)
{
    return tt_settings_load(folder, watch->options->settings_file, watch->options->target, NULL, 0, settings, NULL,
                            err);
}

static void run_session(struct watch *watch, struct watched *session)
{
    const char *const sources[] = {session->folder};
    struct tt_clean_options options = {.sources = sources,
                                       .source_count = 1,
                                       .out = session->out,
                                       .settings_file = watch->options->settings_file,
                                       .target = watch->options->target,
                                       .jobs = watch->options->jobs,
                                       .without_links = true};
    struct listener listener = {watch, session};
    struct tt_clean_watcher watcher = {.context = &listener, .progress = progress, .note = note_once};
    struct tt_clean_result result;
    struct tt_error error = {0};
    struct tt_settings settings;
    /* What a person saves while the run works shows at the next look. */
    tt_snapshot_free(&session->done);
    session->has_run = true;
    session->failed_count = 1;
    if (!tt_folder_make(watch->out, &error) || !tt_clean(&options, &watcher, &result, &error)) {
        if (error.kind != TT_ERROR_STOPPED)
            note(watch, "%s: %s", tt_path_name(session->folder),
                 error.message); /* each time: a person who saved something wants an answer */
    } else {
        sum_up(watch, "%s: %zu of %zu takes done anew, %zu question%s open, %zu failed", tt_path_name(session->folder),
               result.rendered_count, result.take_count, result.question_count, result.question_count == 1 ? "" : "s",
               result.failed_count);
        session->failed_count = result.failed_count;
        session->has_run = !result.was_edited; /* else what was saved would count as done */
        tt_clean_result_free(&result);
        if (load_for(watch, session->folder, &settings, &error))
            run_then(watch, &settings, session->out);
    }
    tt_notice_folder(watch->notice, session->out);
    char *sheets = tt_path_join(session->out, "sheets");
    if (sheets)
        tt_notice_folder(watch->notice, sheets);
    free(sheets);
}

static bool is_known(const struct watched *session, const struct tt_snapshot_file *file)
{
    for (size_t i = 0; i < session->done.count; i++) {
        const struct tt_snapshot_file *known = &session->done.files[i];
        if (strcmp(known->path, file->path) == 0)
            return known->size == file->size && known->modified_ns == file->modified_ns && known->inode == file->inode;
    }
    return false;
}

/* Whether a take came or is another one than before the last run. */
static bool has_other_takes(const struct watched *session)
{
    bool is_other = false;
    for (size_t i = 0; i < session->seen.count; i++)
        is_other =
            is_other || (tt_is_sound_name(session->seen.files[i].path) && !is_known(session, &session->seen.files[i]));
    return is_other;
}

/* Takes over what the run itself wrote (sheets, order) into what counts as done; takes and settings count as they were
 * before it. */
static bool count_as_done(struct watched *session, struct tt_error *err)
{
    struct tt_snapshot after;
    if (!tt_snapshot_take(session->folder, session->out, &after, err))
        return false;
    size_t length = strlen(session->out);
    for (size_t i = 0; i < after.count; i++) {
        bool is_ours = strncmp(after.files[i].path, session->out, length) == 0;
        for (size_t j = 0; !is_ours && j < session->seen.count; j++)
            if (strcmp(after.files[i].path, session->seen.files[j].path) == 0) {
                after.files[i].size = session->seen.files[j].size;
                after.files[i].modified_ns = session->seen.files[j].modified_ns;
                after.files[i].inode = session->seen.files[j].inode;
            }
    }
    session->done = after;
    return true;
}

static bool stopped(const struct watch *watch) { return watch->options->stop && *watch->options->stop; }

/* A slow copy may pause for longer than settle_s: a head that promises more than is there says so. After this many
 * times settle_s the rest is given up. */
static const double patience = 15;

static bool is_arriving(const struct watched *session)
{
    bool is_cut = false;
    for (size_t i = 0; !is_cut && i < session->seen.count; i++) {
        const struct tt_snapshot_file *file = &session->seen.files[i];
        struct tt_audio_info info = {0};
        struct tt_reader *reader =
            tt_is_sound_name(file->path) && !is_known(session, file) ? tt_reader_open(file->path, &info, NULL) : NULL;
        is_cut = reader && info.is_truncated;
        tt_reader_close(reader);
    }
    return is_cut;
}

/* Runs sessions that are due; *wait_s becomes the time until one could be. */
static bool run_due(struct watch *watch, double *wait_s, bool *is_busy, struct tt_error *err)
{
    *is_busy = false;
    for (size_t i = 0; i < watch->count && !stopped(watch); i++) {
        struct watched *session = &watch->sessions[i];
        if (!session->is_there || session->seen.take_count == 0 ||
            (session->has_run && tt_snapshot_equal(&session->seen, &session->done)))
            continue;
        double left_s = session->still_since_s + watch->settings.watch.settle_s - now_s();
        *is_busy = true;
        if (left_s > 0) {
            *wait_s = left_s < *wait_s ? left_s : *wait_s;
            continue;
        }
        if (-left_s < (patience - 1) * watch->settings.watch.settle_s && is_arriving(session))
            continue;
        if (has_other_takes(session))
            forget_words(session);
        run_session(watch, session);
        if (!count_as_done(session, err))
            return false;
        *wait_s = 0;
    }
    return true;
}

static bool load(struct watch *watch, struct tt_error *err)
{
    return load_for(watch, watch->folder, &watch->settings, err);
}

static bool all_are_done(const struct watch *watch, struct tt_error *err)
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

static bool work(struct watch *watch, struct tt_error *err)
{
    const double look_again_s =
        1; /* also with notices: network file systems give none, and a signal may come just before the wait */
    while (!stopped(watch)) {
        if (watch->options->reload && *watch->options->reload) {
            *watch->options->reload = 0;
            struct tt_error error = {0};
            note(watch, "%s", load(watch, &error) ? "settings read again" : error.message);
            for (size_t i = 0; i < watch->count; i++)
                watch->sessions[i].has_run = false;
        }
        double wait_s = look_again_s;
        bool is_busy;
        const double began_s = now_s();
        if (!look_around(watch, err))
            return false;
        const double look_s = now_s() - began_s;
        if (!run_due(watch, &wait_s, &is_busy, err))
            return false;
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
    struct watch watch = {.options = options, .words = words, .folder = tt_resolve_path(options->folder, err)};
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
        tt_notice_folder(watch.notice, watch.folder);
        if (!options->is_once)
            note(&watch, "watching %s, results in %s", watch.folder, watch.out);
        ok = work(&watch, err);
    } else {
        ok = false;
    }
    for (size_t i = 0; i < watch.count; i++)
        watched_free(&watch.sessions[i]);
    free(watch.sessions);
    tt_notice_close(watch.notice);
    free(watch.folder);
    free(watch.out);
    return ok;
}
