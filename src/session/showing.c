/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a run leaves besides sound: reports, edit lists, session.json, the summary. */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>

#include "audio/writer.h"
#include "base/file.h"
#include "pipeline/picture.h"
#include "report/layout.h"
#include "session/earlier.h"
#include "session/kept.h"
#include "session/show_takes.h"
#include "session/steps.h"

static void fill_take_report(const struct tt_run_state *run, const struct tt_take *take, struct tt_take_report *report)
{
    bool is_decided = tt_take_is_decided(take);
    *report = (struct tt_take_report){
        .name = take->file->name,
        .stem = take->file->stem,
        .source_path = take->file->path,
        .piece = take->piece,
        .recording_name = take->recording->name,
        .recording_stem = take->recording->stem,
        .play_before = tt_take_play_before(take),
        .play_after = is_decided && !run->options->is_plan ? tt_take_play_after(run, take) : NULL,
        .has_copy = take->before_copy != NULL,
        .lacks_removed = take->before_copy && run->settings.report.media == TT_MEDIA_COPY,
        .copy_gain_db = take->copy_gain_db,
        .source_channel_count = take->info.channel_count,
        .time_reference_frames = take->info.time_reference,
        .has_failed = take->has_failed,
        .is_heard = is_decided,
        .heard = is_decided ? &take->heard : NULL,
        .sheet = is_decided ? &take->sheet : NULL,
        .map = is_decided ? &take->map : NULL,
        .has_voice = is_decided && take->has_voice && !run->options->is_plan,
        .out_rate_hz = take->out_rate_hz,
        .out_channel_count = take->out_channel_count,
        .out_frames = take->out_frames,
        .gain_db = take->applied_gain_db,
        .limited_db = take->limited_db,
        .pace_syllables_per_s = take->pace_syllables_per_s,
        .after = take->after,
        .has_pictures = is_decided && tt_run_wants_pictures(run) &&
                        tt_picture_exists(take->before_prefix), /* parts share the hearing */
        .warnings = take->warnings,
        .warning_count = take->warning_count,
        .persons_rows = take->persons_rows,
        .narration_start_frame = take->narration_start_frame};
    snprintf(report->error, sizeof report->error, "%s", take->error.message);
    snprintf(report->render_key, sizeof report->render_key, "%s", take->render_key);
    snprintf(report->why, sizeof report->why, "%s",
             !take->is_used && !take->why[0] ? "not used (order.csv)" : take->why);
}

/* Of takes that a recorder split: their files. To be freed. */
static bool list_files(const struct tt_take *take, struct tt_take_report *report, struct tt_report_file **files,
                       struct tt_error *err)
{
    *files = NULL;
    if (take->more_count == 0)
        return true;
    if (!(*files = calloc(take->more_count + 1, sizeof **files)))
        return tt_fail_memory(err);
    int64_t at = 0;
    for (size_t i = 0; i <= take->more_count; i++) {
        const struct tt_take *part = i == 0 ? take : take->more[i - 1];
        (*files)[i] = (struct tt_report_file){part->recording->name, part->recording->path, at, part->own_frames,
                                              part->info.time_reference};
        at += part->own_frames;
    }
    report->files = *files;
    report->file_count = take->more_count + 1;
    return true;
}

/* A narration that this run did not write but left where it was (none was asked for, or no take could be read) keeps
 * its lists. */
static bool earlier_narration_stays(const struct tt_run_state *run)
{
    char *path = tt_format("%s/narration%s", run->out, tt_container_ending(run->settings.deliver.format));
    bool stays = path && tt_file_exists(path);
    free(path);
    return stays;
}

/* narration.edl, and narration-2.edl and so on where there are more than 999 events. Lists of an earlier, longer
 * narration go. */
static bool show_edit_lists(const struct tt_run_state *run, const struct tt_session_report *session,
                            struct tt_error *err)
{
    bool has_more = session->has_narration, ok = true;
    for (int part = 0; ok; part++) {
        char *path = part == 0 ? tt_format("%s/edit/narration.edl", run->out)
                               : tt_format("%s/edit/narration-%d.edl", run->out, part + 1);
        struct tt_text text = {0};
        bool was_there = path && tt_file_exists(path), is_wanted = has_more;
        ok = path || tt_fail_memory(err);
        if (ok && is_wanted)
            ok = tt_show_text(path, &text, tt_report_edl(session, part, &text, &has_more, err), err);
        else if (ok)
            ok = tt_file_remove(path, err);
        free(path);
        if (!is_wanted && !was_there)
            break;
    }
    char *path = tt_format("%s/edit/narration.otio", run->out);
    struct tt_text text = {0};
    ok = ok && (path || tt_fail_memory(err));
    if (ok && session->has_narration)
        ok = tt_show_text(path, &text, tt_report_otio(session, &text, err), err);
    else if (ok)
        ok = tt_file_remove(path, err);
    free(path);
    return ok;
}

static bool show_session_json(struct tt_run_state *run, const struct tt_session_report *session, char **json,
                              struct tt_error *err)
{
    json_t *state = NULL, *layout = NULL;
    if (!tt_layout_make(session, &layout, err))
        return false;
    if (!run->options->is_plan && !tt_session_show_changes(run, session, layout, err)) {
        json_decref(layout);
        return false;
    }
    if (!tt_report_session_json(session, &state, err)) {
        json_decref(layout);
        return false;
    }
    struct tt_text summary = {0}, text = {0};
    char *path = tt_path_join(run->out, "session.json");
    bool ok = tt_report_json_text(state, &summary, err);
    if (!ok)
        json_decref(layout);
    ok = ok && tt_kept_add(run, layout, state, err) && tt_report_json_text(state, &text, err);
    ok = ok && (path || tt_fail_memory(err)) && tt_file_write(path, text.data, text.length, err);
    free(path);
    tt_text_free(&text);
    if (ok)
        *json = summary.data;
    else
        tt_text_free(&summary);
    json_decref(state);
    return ok;
}

static bool summaries(const struct tt_session_report *session, struct tt_clean_result *result, struct tt_error *err)
{
    struct tt_text text = {0}, verbose = {0};
    bool ok = tt_report_summary(session, false, &text, err) && tt_report_summary(session, true, &verbose, err);
    if (ok && (text.has_failed || verbose.has_failed))
        ok = tt_fail_memory(err);
    if (ok) {
        result->summary = text.data;
        result->summary_verbose = verbose.data;
        return true;
    }
    tt_text_free(&text);
    tt_text_free(&verbose);
    return false;
}

static void count_up(const struct tt_run_state *run, const struct tt_take_report *reports,
                     struct tt_clean_result *result)
{
    result->take_count = run->take_count;
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        result->failed_count += take->has_failed;
        result->may_pass = result->may_pass || (take->has_failed && take->error.may_pass);
        result->rendered_count += take->is_rendered;
        result->up_to_date_count += !take->has_failed && !take->is_rendered && take->is_used;
        if (reports[i].is_heard)
            result->question_count += tt_report_questions(&reports[i]);
    }
}

/* What the sheets say of all takes: pages that were made from the same belong together. */
static bool digest_sheets(const struct tt_run_state *run, char hex[65], struct tt_error *err)
{
    struct tt_text all = {0};
    for (size_t i = 0; i < run->take_count; i++) {
        char one[65];
        tt_sha256(run->takes[i].sheet_text ? run->takes[i].sheet_text : "", run->takes[i].sheet_size, one);
        tt_text_add(&all, one);
    }
    tt_sha256(all.data ? all.data : "", all.length, hex);
    bool ok = !all.has_failed || tt_fail_memory(err);
    tt_text_free(&all);
    return ok;
}

bool tt_session_show_take(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    struct tt_take_report report;
    struct tt_text text = {0};
    fill_take_report(run, take, &report);
    tt_report_round(&report);
    return tt_show_text(take->json_path, &text, tt_report_take_json(&report, &text, err), err);
}

/* Reports of all takes, in order, and what they point to. */
struct reports {
    struct tt_take_report *takes;
    struct tt_report_file **files;
};

static bool make_reports(const struct tt_run_state *run, struct reports *reports, struct tt_error *err)
{
    *reports = (struct reports){calloc(run->take_count + 1, sizeof *reports->takes),
                                calloc(run->take_count + 1, sizeof *reports->files)};
    bool ok = (reports->takes && reports->files) || tt_fail_memory(err);
    for (size_t i = 0; ok && i < run->take_count; i++) {
        fill_take_report(run, &run->takes[i], &reports->takes[i]);
        ok = list_files(&run->takes[i], &reports->takes[i], &reports->files[i], err);
        tt_report_round(&reports->takes[i]);
    }
    return ok;
}

static void free_reports(const struct tt_run_state *run, struct reports *reports)
{
    for (size_t i = 0; reports->files && i < run->take_count; i++)
        free(reports->files[i]);
    free(reports->files);
    free(reports->takes);
}

static struct tt_session_report session_report(const struct tt_run_state *run, const struct tt_take_report *takes)
{
    struct tt_session_report session = {.name = run->list.name,
                                        .source_folder = run->list.folder,
                                        .out_folder = run->out,
                                        .settings = &run->settings,
                                        .target = run->options->target,
                                        .takes = takes,
                                        .take_count = run->take_count,
                                        .passed_over = run->list.passed_over,
                                        .is_plan = run->options->is_plan,
                                        .has_narration = run->has_narration,
                                        .narration_rate_hz = run->narration_rate_hz,
                                        .narration_frames = run->narration_frames,
                                        .narration = run->narration,
                                        .common_gain_db = run->common_gain_db,
                                        .narration_trim_db = run->narration_trim_db,
                                        .warnings = run->warnings,
                                        .warning_count = run->warning_count};
    for (size_t i = 0; i < TT_MOST_PASSED_OVER_NAMES; i++)
        session.passed_over_names[i] = run->list.passed_over_names[i];
    return session;
}

static bool show_page(const struct tt_run_state *run, const struct tt_session_report *session, struct tt_error *err)
{
    struct tt_text text = {0};
    char *path = tt_path_join(run->out, "index.html");
    bool ok = path ? tt_show_text(path, &text, tt_report_session_page(session, &text, err), err) : tt_fail_memory(err);
    free(path);
    return ok;
}

bool tt_session_show(struct tt_run_state *run, struct tt_clean_result *result, struct tt_error *err)
{
    struct reports reports;
    bool ok = make_reports(run, &reports, err);
    struct tt_session_report session = session_report(run, reports.takes);
    ok = ok && digest_sheets(run, session.sheets_sha256, err);
    ok = ok && tt_show_takes(run, &session, err);
    if (ok && !run->options->is_plan && (run->has_narration || !earlier_narration_stays(run)))
        ok = show_edit_lists(run, &session, err);
    ok = ok && (!run->settings.report.page || show_page(run, &session, err));
    ok = ok && show_session_json(run, &session, &result->json, err) && summaries(&session, result, err);
    if (ok) {
        count_up(run, reports.takes, result);
        result->out_folder = tt_copy_string(run->out);
        ok = result->out_folder || tt_fail_memory(err);
    }
    free_reports(run, &reports);
    return ok;
}
