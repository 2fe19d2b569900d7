/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Deciding a session anew, in order, from what was heard: a person's rows stay, the program's are made again. */
#include <math.h>
#include <stdlib.h>

#include "base/file.h"
#include "pipeline/chain.h"
#include "session/advice.h"
#include "session/jobs.h"
#include "session/recorded.h"
#include "session/steps.h"

static bool decide_chain(struct tt_run_state *run, struct tt_error *err)
{
    const int jobs = run->options->jobs > 0 ? run->options->jobs : tt_processor_count();
    struct tt_session_view view = {.takes = calloc(run->take_count + 1, sizeof *view.takes),
                                   .settings = &run->settings,
                                   .threads = (size_t)jobs,
                                   .goes_on = tt_run_decides_on,
                                   .context = run};
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
        if (tt_take_takes_part(take) && !tt_session_read_sheet(run, take, &error))
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
    struct sheet_under_way *sheets; /* of each take */
    atomic_bool has_moved;
};

struct sheet_under_way {
    struct finishing *finishing;
    struct tt_take *take;
    struct tt_text text;
    bool was_saved; /* by somebody, while this one was made */
};

/* Nothing slow stands between this look at the file and the new one in its place. */
static bool sheet_may_appear(void *context)
{
    struct sheet_under_way *sheet = context;
    sheet->was_saved = tt_session_sheet_moved(sheet->take);
    if (sheet->was_saved)
        atomic_store(&sheet->finishing->has_moved, true);
    return !sheet->was_saved;
}

static void sheet_ended(void *context, const struct tt_error *error)
{
    struct sheet_under_way *sheet = context;
    if (error)
        fail_decided(sheet->finishing->run, sheet->take, error);
    else if (!sheet->was_saved)
        tt_session_keep_sheet(sheet->take, &sheet->text);
    tt_text_free(&sheet->text);
}

/* What takes wait for is their medium: so they wait together. */
static void put_sheet(void *context, size_t item)
{
    struct finishing *finishing = context;
    struct sheet_under_way *sheet = &finishing->sheets[item];
    struct tt_error error = {0};
    *sheet = (struct sheet_under_way){.finishing = finishing, .take = &finishing->run->takes[item]};
    if (tt_sheet_write(&sheet->take->sheet, &sheet->text)) {
        tt_file_write_among(sheet->take->sheet_path, sheet->text.data ? sheet->text.data : "", sheet->text.length,
                            (struct tt_publish_owner){sheet_may_appear, sheet_ended, sheet});
        return;
    }
    tt_fail_memory(&error);
    sheet_ended(sheet, &error);
}

static bool finish_sheets(struct tt_run_state *run, bool *has_moved, struct tt_error *err)
{
    struct finishing finishing = {.run = run, .sheets = malloc((run->take_count + 1) * sizeof *finishing.sheets)};
    double *weights = calloc(run->take_count + 1, sizeof *weights);
    bool ok = (weights && finishing.sheets) || tt_fail_memory(err);
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
    free(finishing.sheets);
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
    if (!tt_session_decide_gains(run, err))
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
