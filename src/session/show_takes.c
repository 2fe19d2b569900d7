/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/show_takes.h"

#include <stdint.h>
#include <stdlib.h>

#include "base/file.h"
#include "session/jobs.h"

bool tt_show_text(const char *path, struct tt_text *text, bool ok, struct tt_error *err)
{
    ok = ok && (!text->has_failed || tt_fail_memory(err)) &&
         tt_file_write(path, text->data ? text->data : "", text->length, err);
    tt_text_free(text);
    return ok;
}

struct showing {
    struct tt_run_state *run;
    const struct tt_session_report *session;
    struct shown *takes;
    size_t failed; /* the first take that could not be shown */
    struct tt_error error;
};

struct shown {
    struct showing *showing;
    size_t item;
};

static void ended(void *context, const struct tt_error *error)
{
    const struct shown *shown = context;
    struct showing *showing = shown->showing;
    if (!error)
        return;
    pthread_mutex_lock(&showing->run->mutex);
    if (shown->item < showing->failed) {
        showing->failed = shown->item;
        showing->error = *error;
    }
    pthread_mutex_unlock(&showing->run->mutex);
}

/* As tt_show_text, of one of many. */
static bool put_text(struct shown *shown, const char *path, struct tt_text *text, bool ok, struct tt_error *err)
{
    ok = ok && (!text->has_failed || tt_fail_memory(err));
    if (ok)
        tt_file_write_among(path, text->data ? text->data : "", text->length,
                            (struct tt_publish_owner){.ended = ended, .context = shown});
    tt_text_free(text);
    return ok;
}

/* What was measured of the voice lies in memory for its page only. A damaged file costs the page a curve, not the run;
 * want of memory does not pass for one. */
static bool show_page(struct shown *shown, struct tt_error *err)
{
    struct tt_run_state *run = shown->showing->run;
    const struct tt_session_report *session = shown->showing->session;
    const struct tt_take *take = &run->takes[shown->item];
    struct tt_take_report report = session->takes[shown->item];
    struct tt_voice_heard heard;
    struct tt_text text = {0};
    struct tt_error problem = {0};
    if (report.has_voice && tt_voice_heard_read(take->voice_heard_path, &heard, &problem))
        report.voice_heard = &heard;
    if (problem.kind == TT_ERROR_MEMORY)
        return tt_fail_memory(err);
    if (problem.kind != TT_OK)
        tt_run_note(run, "%s: its page lacks the curve of the voice: %s", take->file->name, problem.message);
    bool ok = put_text(shown, take->page_path, &text, tt_report_take_page(session, &report, &text, err), err);
    if (report.voice_heard)
        tt_voice_heard_free(&heard);
    return ok;
}

/* A plan renders nothing: the report of a voice that lies there stays that voice's. */
static bool report_stays(const struct tt_session_report *session, const struct tt_take *take)
{
    struct tt_earlier_take earlier;
    if (!session->is_plan || !tt_file_exists(take->json_path))
        return false;
    bool is_read = tt_report_take_json_read(take->json_path, &earlier, NULL);
    free(earlier.warnings);
    return !is_read || earlier.has_voice;
}

static bool show_take(struct shown *shown, struct tt_error *err)
{
    const struct tt_session_report *session = shown->showing->session;
    const struct tt_take *take = &shown->showing->run->takes[shown->item];
    struct tt_text text = {0};
    if (!report_stays(session, take) &&
        !put_text(shown, take->json_path, &text, tt_report_take_json(&session->takes[shown->item], &text, err), err))
        return false;
    return !session->settings->report.page || show_page(shown, err);
}

static void show_one(void *context, size_t item)
{
    struct showing *showing = context;
    struct shown *shown = &showing->takes[item];
    struct tt_error error = {0};
    *shown = (struct shown){showing, item};
    if (!show_take(shown, &error))
        ended(shown, &error);
}

bool tt_show_takes(struct tt_run_state *run, const struct tt_session_report *session, struct tt_error *err)
{
    struct showing showing = {.run = run,
                              .session = session,
                              .failed = SIZE_MAX,
                              .takes = malloc((run->take_count + 1) * sizeof *showing.takes)};
    double *weights = calloc(run->take_count + 1, sizeof *weights);
    bool ok = (weights && showing.takes) || tt_fail_memory(err);
    for (size_t i = 0; ok && i < run->take_count; i++)
        weights[i] = session->takes[i].is_heard ? 1 : 0;
    ok = ok && tt_jobs_run(run->take_count, weights, run->options->jobs, show_one, &showing, err);
    free(weights);
    free(showing.takes);
    return ok && tt_error_pass_on(&showing.error, err);
}
