/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Deciding a session anew, in order, from what was heard: a person's rows stay, the program's are made again. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "pipeline/chain.h"
#include "pipeline/render.h"
#include "session/advice.h"
#include "session/jobs.h"
#include "session/recorded.h"
#include "session/steps.h"
#include "stages/loudness.h"

enum { MOST_SHEET_BYTES = 64 << 20 };

/* ---- sheets in ---- */

/* A part that has no sheet yet takes over what a person decided on it in the sheet of the whole recording. */
static bool inherit_rows(const struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    char *path = tt_format("%s/sheets/%s.csv", run->out, take->recording->stem), *text = NULL;
    size_t size = 0, persons = 0;
    struct tt_sheet other = {0};
    bool ok = path || tt_fail_memory(err);
    if (ok && take->own_file && tt_file_exists(path) && tt_file_read(path, MOST_SHEET_BYTES, &text, &size, NULL)) {
        ok = tt_sheet_start(&other, take->recording->name, take->content_sha256, err);
        /* A fault in it is that other take's to tell. */
        if (ok && tt_sheet_read(&other, text, size, path, tt_take_duration_ms(take), &persons, NULL))
            for (size_t i = 0; ok && i < other.count; i++)
                if (tt_take_holds(take, other.rows[i].start_ms) && tt_take_holds(take, other.rows[i].end_ms)) {
                    ok = tt_sheet_add_persons(&take->sheet, &other.rows[i], err);
                    take->persons_rows++;
                }
    }
    tt_sheet_free(&other);
    free(text);
    free(path);
    return ok;
}

static bool read_sheet(const struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    tt_sheet_free(&take->sheet);
    free(take->sheet_text);
    take->sheet_text = NULL;
    take->sheet_size = 0;
    take->persons_rows = 0;
    if (!tt_sheet_start(&take->sheet, take->file->name, take->content_sha256, err))
        return false;
    if (!tt_file_exists(take->sheet_path))
        return inherit_rows(run, take, err);
    if (!tt_file_read(take->sheet_path, MOST_SHEET_BYTES, &take->sheet_text, &take->sheet_size, err))
        return false;
    char *name = tt_format("sheets/%s.csv", take->file->stem);
    bool ok = name ? tt_sheet_read(&take->sheet, take->sheet_text, take->sheet_size, name, tt_take_duration_ms(take),
                                   &take->persons_rows, err)
                   : tt_fail_memory(err);
    free(name);
    return ok;
}

/* ---- sheets out ---- */

static bool write_sheet(struct tt_take *take, struct tt_error *err)
{
    struct tt_text text = {0};
    if (!tt_sheet_write(&take->sheet, &text)) {
        tt_text_free(&text);
        return tt_fail_memory(err);
    }
    bool ok = tt_file_write(take->sheet_path, text.data ? text.data : "", text.length, err);
    if (ok) {
        free(take->sheet_text);
        take->sheet_text = text.data;
        take->sheet_size = text.length;
        text.data = NULL;
    }
    tt_text_free(&text);
    return ok;
}

/* Whether the file is not as this run last knew it. */
static bool sheet_moved(const struct tt_take *take)
{
    char *text = NULL;
    size_t size = 0;
    if (!tt_file_exists(take->sheet_path))
        return take->sheet_text != NULL;
    if (!tt_file_read(take->sheet_path, MOST_SHEET_BYTES, &text, &size, NULL))
        return true;
    bool is_same = take->sheet_text && size == take->sheet_size && memcmp(text, take->sheet_text, size) == 0;
    free(text);
    return !is_same;
}

/* A take that failed may have done so over a slip in its sheet, which somebody has mended by now. One that cannot be
 * read says nothing. */
static bool was_mended(const struct tt_take *take)
{
    char *text = NULL;
    size_t size = 0;
    bool is_read = take->has_failed && take->is_used && take->sheet_text &&
                   tt_file_read(take->sheet_path, MOST_SHEET_BYTES, &text, &size, NULL);
    bool is_same = is_read && size == take->sheet_size && memcmp(text, take->sheet_text, size) == 0;
    free(text);
    return is_read && !is_same;
}

bool tt_session_was_edited(struct tt_run_state *run)
{
    bool was_edited = tt_session_sheets_moved(run) || tt_session_order_moved(run);
    for (size_t i = 0; !was_edited && i < run->take_count; i++)
        was_edited = was_mended(&run->takes[i]);
    return was_edited;
}

bool tt_session_sheets_moved(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (tt_take_takes_part(&run->takes[i]) && sheet_moved(&run->takes[i]))
            return true;
    return false;
}

/* ---- the chain ---- */

static bool decide_chain(struct tt_run_state *run, struct tt_error *err)
{
    const int jobs = run->options->jobs > 0 ? run->options->jobs : tt_processor_count();
    struct tt_session_view view = {
        .takes = calloc(run->take_count + 1, sizeof *view.takes), .settings = &run->settings, .threads = (size_t)jobs};
    if (!view.takes)
        return tt_fail_memory(err);
    const struct tt_take *last = NULL; /* that says when it was recorded */
    double clock_s = 0;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        const double rate_hz = take->heard.facts.rate_hz, from_s = (double)take->heard.from_sample / rate_hz;
        if (!tt_take_takes_part(take))
            continue;
        /* What was read on another day replaces nothing by itself, wherever its name sorts: that is a pick-up, and is
         * asked about (pickups.c). */
        if (last && tt_recorded_on_other_days(last, take))
            clock_s += run->settings.misreads.look_back_s + 1;
        last = take->info.origination[0] ? take : last;
        view.takes[view.count++] = (struct tt_take_view){
            .name = take->file->name, .heard = &take->heard, .sheet = &take->sheet, .clock_s = clock_s - from_s};
        clock_s += (double)tt_heard_end(&take->heard) / rate_hz - from_s;
    }
    bool ok = true;
    for (int i = 0; ok && i < TT_STAGE_COUNT; i++)
        ok = !tt_chain[i]->decide || tt_chain[i]->decide(&view, err);
    free(view.takes);
    return ok;
}

static void find_gain_aim(struct tt_run_state *run)
{
    const struct tt_settings *settings = &run->settings;
    snprintf(run->gain_aim, sizeof run->gain_aim, "aim %d lufs %.6g rms %.6g channels %d", (int)settings->loudness.aim,
             settings->loudness.target_lufs, settings->loudness.target_rms_dbfs, (int)settings->deliver.channels);
}

static bool is_host(const struct tt_take *take)
{
    return !take->is_pickup && tt_take_takes_part(take) && take->has_map && take->map.count > 0;
}

/* The take that a pick-up goes into: what is joined to it in the running order, before it, else (from the start of a
 * take on) after it. */
static const struct tt_take *host_of(const struct tt_run_state *run, size_t index)
{
    for (size_t i = index; i > 0 && run->takes[i].joins_before; i--)
        if (is_host(&run->takes[i - 1]))
            return &run->takes[i - 1];
    for (size_t i = index + 1; i < run->take_count && run->takes[i].joins_before; i++)
        if (is_host(&run->takes[i]))
            return &run->takes[i];
    /* In place of a whole row nothing is joined to it: the nearest take has to do. */
    for (size_t i = index; i-- > 0;)
        if (is_host(&run->takes[i]))
            return &run->takes[i];
    for (size_t i = index + 1; i < run->take_count; i++)
        if (is_host(&run->takes[i]))
            return &run->takes[i];
    return NULL;
}

/* A pick-up sounds as loud as the lines around it: no common gain does that for another day's distance to the
 * microphone. gains[] in the order of the takes that take part. */
static void fit_pickups(struct tt_run_state *run, const struct tt_gain_take *gains)
{
    size_t at = 0, host_at;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!tt_take_takes_part(take))
            continue;
        const struct tt_gain_take *own = &gains[at++];
        const struct tt_take *host = take->is_pickup && isfinite(take->gain_db) ? host_of(run, i) : NULL;
        if (!host)
            continue;
        host_at = 0;
        for (const struct tt_take *other = run->takes; other != host; other++)
            host_at += tt_take_takes_part(other);
        if (!isfinite(own->expected_lufs) || !isfinite(gains[host_at].expected_lufs) ||
            !isfinite(gains[host_at].gain_db))
            continue;
        const double fitted_db = gains[host_at].gain_db + gains[host_at].expected_lufs - own->expected_lufs;
        take->gain_db = round(fitted_db * 1000) / 1000;
        take->is_apart = true;
        tt_take_warn(take, "pick-up", NAN,
                     "a pick-up, turned %.1f dB %s than the other takes to sound as loud as the lines of %s beside it: "
                     "listen whether it fits",
                     fabs(take->gain_db - run->common_gain_db),
                     take->gain_db < run->common_gain_db ? "lower" : "higher", host->recording->name);
    }
}

static bool decide_gains(struct tt_run_state *run, struct tt_error *err)
{
    struct tt_gain_take *gains = calloc(run->take_count + 1, sizeof *gains);
    if (!gains)
        return tt_fail_memory(err);
    size_t count = 0;
    for (size_t i = 0; i < run->take_count; i++)
        if (tt_take_takes_part(&run->takes[i]))
            gains[count++] = (struct tt_gain_take){.heard = &run->takes[i].heard, .map = &run->takes[i].map};
    const struct tt_settings *settings = &run->settings;
    double earlier = strcmp(run->gain_aim, run->earlier_gain_aim) == 0 && !run->options->is_again
                         ? run->earlier_common_gain_db
                         : NAN;
    bool ok = tt_loudness_decide(gains, count, settings, earlier, &run->common_gain_db, err);
    count = 0;
    for (size_t i = 0; ok && i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!tt_take_takes_part(take))
            continue;
        take->gain_db = gains[count].gain_db;
        take->is_apart = gains[count].is_apart;
        if (take->is_apart && !take->is_pickup)
            tt_take_warn(
                take, "level-apart", NAN,
                "its voice is %.1f LU %s than the other takes; it got a gain of its own: listen whether it fits",
                fabs(take->gain_db - run->common_gain_db), take->gain_db > run->common_gain_db ? "softer" : "louder");
        count++;
    }
    if (ok)
        fit_pickups(run, gains);
    free(gains);
    return ok;
}

/* Digest of everything that a voice file depends on. */
bool tt_session_render_key(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    const struct tt_settings *s = &run->settings;
    struct tt_text text = {0};
    tt_text_addf(&text, "%s render 3\n%s\n%s\n", TIDYTAKE_VERSION, take->content_sha256, take->hearing_key);
    if (take->heard.narrowed)
        tt_text_addf(&text, "part %lld %lld\n", (long long)take->heard.from_sample, (long long)take->heard.to_sample);
    tt_text_addf(&text, "gain %.9g\n", take->gain_db);
    if (isnan(take->gain_db))
        tt_text_addf(&text, "exact %s\n", run->gain_aim);
    tt_text_addf(&text, "gate %.17g %.17g breaths %.17g even %.17g limit %.17g %.17g\n", s->gate.depth_db,
                 s->gate.keep_faint_db, s->breaths.soften_db, s->loudness.even_db, s->loudness.ceiling_dbtp,
                 s->loudness.limit_most_db);
    tt_text_addf(&text, "deliver %d %d %d %d whole %d\n", (int)s->deliver.channels, (int)s->deliver.format,
                 (int)s->deliver.bits, tt_delivery_rate_hz(s, take->heard.facts.rate_hz), (int)s->deliver.whole);
    tt_sheet_render_text(&take->sheet, &text);
    bool ok = !text.has_failed || tt_fail_memory(err);
    if (ok)
        tt_sha256(text.data, text.length, take->render_key);
    tt_text_free(&text);
    return ok;
}

/* The gains of all takes hang on each of them: a share that had to do without one says so. */
static void fail_decided(struct tt_run_state *run, struct tt_take *take, const struct tt_error *error)
{
    take->is_needed_here = true;
    tt_take_fail(run, take, error);
}

/* Sheets of failed takes are left as they are. */
static void read_sheets(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        struct tt_error error = {0};
        if (tt_take_takes_part(take) && !read_sheet(run, take, &error))
            fail_decided(run, take, &error);
    }
}

static void collect_warnings(struct tt_take *take)
{
    take->warning_count = 0;
    for (size_t i = 0; i < take->heard.remark_count; i++)
        tt_take_warn(take, take->heard.remarks[i].code, take->heard.remarks[i].at_s, "%s",
                     take->heard.remarks[i].message);
}

struct finishing {
    struct tt_run_state *run;
    atomic_bool has_moved;
};

/* Nothing slow may stand between the last look at the file and writing it. What several takes wait for is their medium:
 * so they wait side by side. */
static void put_sheet(void *context, size_t item)
{
    struct finishing *finishing = context;
    struct tt_take *take = &finishing->run->takes[item];
    struct tt_error error = {0};
    if (sheet_moved(take))
        atomic_store(&finishing->has_moved, true);
    else if (!write_sheet(take, &error))
        fail_decided(finishing->run, take, &error);
}

static bool finish_sheets(struct tt_run_state *run, bool *has_moved, struct tt_error *err)
{
    struct finishing finishing = {.run = run};
    double *weights = calloc(run->take_count + 1, sizeof *weights);
    bool ok = weights || tt_fail_memory(err);
    for (size_t i = 0; ok && i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!tt_take_takes_part(take))
            continue;
        tt_time_map_free(&take->map);
        ok = tt_sheet_seal(&take->sheet, err) && tt_time_map_build(&take->sheet, &take->heard, &take->map, err);
        take->has_map = ok;
        weights[i] = ok;
        /* In a second round the first one's rows are back already. */
        const size_t back = ok ? tt_session_brought_back(take) : 0;
        take->brought_back = back > take->brought_back ? back : take->brought_back;
        collect_warnings(take);
    }
    ok = ok && tt_jobs_run(run->take_count, weights, run->options->jobs, put_sheet, &finishing, err);
    *has_moved = atomic_load(&finishing.has_moved);
    free(weights);
    return ok;
}

static void warn_of_nothing_used(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (run->takes[i].is_used)
            return;
    tt_run_warn(run, "none-used",
                "order.csv says no to every take, so there is no narration: write yes into its column use where a take "
                "is wanted");
}

bool tt_session_decide(struct tt_run_state *run, struct tt_error *err)
{
    enum { MOST_ROUNDS = 5 };
    for (int round = 0; round < MOST_ROUNDS; round++) {
        bool has_moved = false;
        read_sheets(run);
        if (!tt_session_merge_changes(run, err) ||
            !(run->is_held ? tt_session_held_sheets(run, err) : decide_chain(run, err)) ||
            !finish_sheets(run, &has_moved, err))
            return false;
        if (!has_moved)
            break;
    }
    tt_session_tell_brought_back(run);
    warn_of_nothing_used(run);
    find_gain_aim(run);
    if (!(run->is_held ? tt_session_held_gains(run, err) : decide_gains(run, err)))
        return false;
    for (size_t i = 0; i < run->take_count; i++)
        if (tt_take_takes_part(&run->takes[i]) && !tt_session_render_key(run, &run->takes[i], err))
            return false;
    if ((run->is_held && !tt_session_held_exact_gains(run, err)) || !tt_session_pace(run, err))
        return false;
    tt_vanished_tell(run);
    tt_torn_tell(run);
    return tt_neighbours_tell(run, err) && (run->is_held || tt_pickups_propose(run, err));
}
