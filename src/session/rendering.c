/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rendering what is not up to date. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "pipeline/picture.h"
#include "pipeline/render.h"
#include "session/jobs.h"
#include "session/judging.h"
#include "session/part.h"
#include "session/steps.h"
#include "stages/loudness.h"

static void warn_of_levels(struct tt_take *take, bool is_held_back, const struct tt_settings *settings)
{
    const bool has_own_target = isnan(take->gain_db);
    const double missing_db =
        has_own_target ? tt_gain_to_target_db(&take->after.levels, settings) : take->gain_db - take->applied_gain_db;
    char text[TT_HELD_BACK_CHARS];
    if (is_held_back && tt_held_back_say(settings, missing_db, has_own_target ? "the target" : "the takes around it",
                                         text, sizeof text))
        tt_take_warn(take, "target-missed", NAN, "%s", text);
}

static void warn_of_nothing_left(struct tt_take *take)
{
    tt_take_warn(
        take, "empty", NAN,
        "nothing of this take is left: all of it is replaced or cut; write keep in its sheet for what should stay");
}

/* What the page shows of the voice is there, where there is a page. */
static bool has_portrait(const struct tt_run_state *run, const struct tt_take *take, bool has_voice)
{
    return !has_voice || !run->settings.report.page ||
           (tt_file_exists(take->voice_heard_path) &&
            (!tt_run_wants_pictures(run) || tt_picture_exists(take->after_prefix)));
}

/* Takes over what an earlier run left when it was rendered from the same. */
static bool is_up_to_date(struct tt_run_state *run, struct tt_take *take)
{
    struct tt_earlier_take earlier;
    struct tt_error error = {0};
    if (!tt_file_exists(take->json_path)) {
        snprintf(take->why, sizeof take->why, "new");
        return false;
    }
    if (!tt_report_take_json_read(take->json_path, &earlier, &error)) {
        snprintf(take->why, sizeof take->why, "its report could not be read");
        return false;
    }
    /* Of a take of which nothing is left there is nothing to be made, and no key in its report. */
    const bool is_empty = take->map.count == 0 && !earlier.has_voice && !tt_file_exists(take->voice_path);
    bool is_same =
        is_empty || (strcmp(earlier.render_key, take->render_key) == 0 && earlier.has_voice == (take->map.count > 0) &&
                     has_portrait(run, take, earlier.has_voice) &&
                     (!earlier.has_voice || (tt_file_exists(take->voice_path) &&
                                             (earlier.limited_db == 0 || tt_file_exists(take->limit_path)))) &&
                     (!run->settings.deliver.whole || tt_file_exists(take->whole_path)));
    if (is_same && run->options->is_again) {
        snprintf(take->why, sizeof take->why, "asked for");
        is_same = false;
    } else if (!is_same && !earlier.has_voice) {
        snprintf(take->why, sizeof take->why, "it had no voice so far");
    } else if (!is_same) {
        snprintf(take->why, sizeof take->why, "its sheet, gain or settings changed");
    }
    if (is_same) {
        snprintf(take->why, sizeof take->why, "up to date");
        take->has_voice = earlier.has_voice;
        take->out_rate_hz = earlier.out_rate_hz;
        take->out_channel_count = earlier.out_channel_count;
        take->out_frames = earlier.out_frames;
        take->applied_gain_db = earlier.gain_db;
        take->limited_db = earlier.limited_db;
        take->after = earlier.after;
        for (size_t i = 0; i < earlier.warning_count; i++)
            if (strcmp(earlier.warnings[i].code, "target-missed") == 0)
                tt_take_warn(take, earlier.warnings[i].code, earlier.warnings[i].at_s, "%s",
                             earlier.warnings[i].message);
    }
    free(earlier.warnings);
    return is_same;
}

/* Of a part about its own length: what is before it is left out. */
static double frames_to_render(const struct tt_take *take)
{
    return (double)(tt_heard_end(&take->heard) - take->heard.from_sample);
}

static bool render(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    struct tt_work work = {.run = run, .take = take, .what = "rendering", .frames = frames_to_render(take)};
    struct tt_render_request request = {.path = take->file->path,
                                        .more_paths = take->more_paths,
                                        .more_count = take->more_count,
                                        .heard = &take->heard,
                                        .sheet = &take->sheet,
                                        .map = &take->map,
                                        .settings = &run->settings,
                                        .gain_db = take->gain_db,
                                        .out_rate_hz = tt_delivery_rate_hz(&run->settings, take->heard.facts.rate_hz),
                                        .voice_path = take->voice_path,
                                        .limit_path = take->limit_path,
                                        .whole_path = run->settings.deliver.whole ? take->whole_path : NULL,
                                        .voice_heard_path = run->settings.report.page ? take->voice_heard_path : NULL,
                                        .picture_prefix = tt_run_wants_pictures(run) ? take->after_prefix : NULL,
                                        .scratch_folder = run->out,
                                        .threads = run->has_spare_threads ? 2 : 1,
                                        .tick = tt_work_tick,
                                        .tick_context = &work};
    struct tt_rendered rendered;
    bool ok = tt_render(&request, &rendered, err);
    if (!ok)
        return false;
    tt_work_end(&work, "rendered");
    take->has_voice = true;
    take->out_rate_hz = request.out_rate_hz;
    take->out_channel_count = run->settings.deliver.channels == TT_CHANNELS_DUAL ? 2 : 1;
    take->out_frames = rendered.out_frames;
    /* As the report keeps them: a later run finds them there and makes the same narration. */
    take->applied_gain_db = round(rendered.gain_db * 1e3) / 1e3;
    take->limited_db = ceil(rendered.limited_db * 1e3) / 1e3; /* up: 0 is nothing at all, also for the narration */
    take->after = (struct tt_after){rendered.levels, rendered.floor_dbfs, rendered.floor_dba, rendered.speech_dbfs};
    warn_of_levels(take, rendered.is_held_back, &run->settings);
    return true;
}

static void render_take(void *context, size_t item)
{
    struct tt_run_state *run = context;
    struct tt_take *take = &run->takes[item];
    struct tt_error error = {0};
    int lock = tt_part_lock(run, take);
    if (lock == TT_PART_BUSY)
        return;
    bool ok = tt_run_is_going(run, &error);
    /* The report goes first: a voice without one is rendered again, one with an old report would be taken for up to
     * date. */
    ok = ok && tt_file_remove(take->json_path, &error);
    if (ok && take->map.count > 0) {
        ok = render(run, take, &error);
    } else if (ok) {
        /* Nothing of it is left: no voice file, also not an old one. */
        take->has_voice = false;
        ok = tt_file_remove(take->voice_path, &error);
    }
    /* A whole run tells of all takes at its end; the share of one has to be known by then. */
    ok = ok && (!run->options->part_count || tt_session_show_take(run, take, &error));
    tt_part_unlock(run, take, lock);
    take->is_rendered = ok;
    if (!ok)
        tt_take_fail(run, take, &error);
    else if (!take->has_voice)
        warn_of_nothing_left(take);
}

bool tt_session_render(struct tt_run_state *run, struct tt_error *err)
{
    double *weights = calloc(run->take_count + 1, sizeof *weights);
    if (!weights)
        return tt_fail_memory(err);
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        take->needs_render = tt_take_takes_part(take) && take->is_ours && !is_up_to_date(run, take);
        if (!take->needs_render) {
            if (tt_take_takes_part(take) && take->is_ours && !take->has_voice)
                warn_of_nothing_left(take);
            continue;
        }
        weights[i] = frames_to_render(take) + 1;
        run->work_total += frames_to_render(take);
    }
    run->work_expected = 0;
    run->has_spare_threads = tt_jobs_have_spare(run->take_count, weights, run->options->jobs);
    bool ok = tt_jobs_run(run->take_count, weights, run->options->jobs, render_take, run, err);
    free(weights);
    return ok;
}
