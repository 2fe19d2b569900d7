/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A run over one session of a watched folder, and what is said of it. */
#include <errno.h>
#include <math.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>

#include "base/file.h"
#include "session/watch_parts.h"

extern char **environ;

/* Who is told what in a run. */
struct listener {
    struct tt_watch *watch;
    struct tt_watched *session;
    bool is_counted; /* the session's files as the run left them count as done */
};

/* A take that cannot be done is complained about once, not with every run of its session. */
static void note_once(void *context, const char *line)
{
    struct listener *listener = context;
    if (tt_watched_is_news(listener->session, line))
        tt_watch_note(listener->watch, "%s: %s", tt_path_name(listener->session->folder), line);
}

static bool progress(void *context, double share, const char *take, const char *what)
{
    (void)share;
    (void)take;
    (void)what;
    const struct tt_watch *watch = ((struct listener *)context)->watch;
    return !watch->options->stop || !*watch->options->stop;
}

/* Takes over what the run itself wrote (sheets, order) into what counts as done; takes and settings count as they were
 * before it. */
static bool count_as_done(struct tt_watched *session, struct tt_error *err)
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

/* At this moment, and no later: what a person saves while the run is summed up, or while the program behind it works,
 * is news. */
static void written(void *context)
{
    struct listener *listener = context;
    listener->is_counted = count_as_done(listener->session, NULL);
}

/* The program of [watch] then, without a shell, with the session page as its argument. */
static void run_then(struct tt_watch *watch, const struct tt_settings *settings, const char *out)
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
        tt_watch_note(watch, "watch.then: %s: %s", program, strerror(problem));
    else if (waitpid(child, &status, 0) == child && status != 0)
        tt_watch_note(watch, "watch.then: %s: ended with status %d", program,
                      WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status));
    free(page);
}

/* What a person changed gets an answer each time; a try that nobody asked for says only what is new. */
static void complain(struct tt_watch *watch, struct tt_watched *session, const struct tt_error *error, bool is_again)
{
    if (error->kind != TT_ERROR_STOPPED && (tt_watched_is_news(session, error->message) || !is_again))
        tt_watch_note(watch, "%s: %s", tt_path_name(session->folder), error->message);
}

/* Soon at first, then ever more seldom, up to so many times longer. */
static const double first_per_settle = 15, first_most_s = 60, most_growth = 16;

static void plan_another_try(const struct tt_watch *watch, struct tt_watched *session, bool is_again)
{
    const double first_s =
        fmin(fmax(first_per_settle * watch->settings.watch.settle_s, tt_watch_pulse_s(watch)), first_most_s);
    session->again_after_s = is_again ? fmin(2 * session->again_after_s, most_growth * first_s) : first_s;
    session->again_at_s = tt_watch_now_s() + session->again_after_s;
}

static void sum_up(struct tt_watch *watch, const struct tt_watched *session, const struct tt_clean_result *result)
{
    struct tt_error error = {0};
    struct tt_settings settings;
    tt_watch_sum_up(watch, "%s: %zu of %zu takes done anew, %zu question%s open, %zu failed",
                    tt_path_name(session->folder), result->rendered_count, result->take_count, result->question_count,
                    result->question_count == 1 ? "" : "s", result->failed_count);
    if (tt_watch_load(watch, session->folder, &settings, &error))
        run_then(watch, &settings, session->out);
}

static void clean(struct listener *listener, bool is_again)
{
    struct tt_watch *watch = listener->watch;
    struct tt_watched *session = listener->session;
    const char *const sources[] = {session->folder};
    struct tt_clean_options options = {.sources = sources,
                                       .source_count = 1,
                                       .out = session->out,
                                       .settings_file = watch->options->settings_file,
                                       .target = watch->options->target,
                                       .jobs = watch->options->jobs,
                                       .without_links = true};
    struct tt_clean_watcher watcher = {
        .context = listener, .progress = progress, .note = note_once, .written = written};
    struct tt_clean_result result;
    struct tt_error error = {0};
    const size_t failed_before = session->failed_count;
    session->has_run = true;
    if (!tt_folder_make(watch->out, &error) || !tt_clean(&options, &watcher, &result, &error)) {
        complain(watch, session, &error, is_again);
        session->failed_count = 1;
        session->may_pass = error.may_pass;
        return;
    }
    session->failed_count = result.failed_count;
    session->may_pass = result.may_pass;
    session->has_run = !result.was_edited; /* else what was saved would count as done */
    if (!is_again || result.rendered_count > 0 || result.failed_count != failed_before)
        sum_up(watch, session, &result);
    tt_clean_result_free(&result);
}

void tt_watch_run(struct tt_watch *watch, struct tt_watched *session, bool is_again)
{
    struct listener listener = {.watch = watch, .session = session};
    struct tt_error error = {0};
    if (tt_watched_has_other_takes(session))
        tt_watched_forget_words(session);
    /* What a person saves while the run works shows at the next look. */
    tt_snapshot_free(&session->done);
    clean(&listener, is_again);
    tt_notice_folder(watch->notice, session->out);
    char *sheets = tt_path_join(session->out, "sheets");
    if (sheets)
        tt_notice_folder(watch->notice, sheets);
    free(sheets);
    if (!listener.is_counted && !count_as_done(session, &error)) { /* then all counts as new, but not at once */
        complain(watch, session, &error, true);
        session->still_since_s = tt_watch_now_s();
    }
    if (session->may_pass)
        plan_another_try(watch, session, is_again);
}
