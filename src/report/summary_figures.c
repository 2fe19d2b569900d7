/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/summary_figures.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "report/plain.h"
#include "report/summary_text.h"
#include "report/totals.h"

/* Lowest and highest finite value; infinite when there was none. */
struct extent {
    double lowest, highest;
};
static const struct extent no_extent = {INFINITY, -INFINITY};

static void widen(struct extent *extent, double value)
{
    if (!isfinite(value))
        return;
    if (value < extent->lowest)
        extent->lowest = value;
    if (value > extent->highest)
        extent->highest = value;
}

static void add_extent(struct tt_text *text, struct extent extent, const char *unit, const char *when)
{
    if (!isfinite(extent.highest))
        return;
    if (text->length > 0)
        tt_text_add(text, ", ");
    char lowest[32], highest[32];
    snprintf(lowest, sizeof lowest, "%.1f", extent.lowest);
    snprintf(highest, sizeof highest, "%.1f", extent.highest);
    if (strcmp(lowest, highest) != 0)
        tt_text_addf(text, "%s to ", lowest);
    tt_text_addf(text, "%s %s %s", highest, unit, when);
}

static void add_pair(struct tt_text *out, const char *label, struct extent before, struct extent after,
                     const char *unit)
{
    struct tt_text text = {0};
    add_extent(&text, before, unit, "before");
    add_extent(&text, after, unit, "after");
    if (text.has_failed)
        out->has_failed = true;
    if (text.data)
        tt_summary_add_figure(out, label, text.data);
    tt_text_free(&text);
}

static void add_count(struct tt_text *out, size_t count, const char *one, const char *several)
{
    if (count > 0)
        tt_text_addf(out, "%zu %s\n", count, count == 1 ? one : several);
}

/* One of "N, of which A could not be done, B were left out, C were up to date". */
static void add_share(struct tt_text *text, size_t count, const char *one, const char *several, bool *is_first)
{
    if (count == 0)
        return;
    tt_text_addf(text, "%s%zu %s", *is_first ? ", of which " : ", ", count, count == 1 ? one : several);
    *is_first = false;
}

static void add_takes_count(const struct tt_session_report *session, struct tt_text *out)
{
    size_t failed = 0, left_out = 0, up_to_date = 0;
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        failed += take->has_failed;
        left_out += !take->has_failed && !take->is_heard;
        up_to_date += !take->has_failed && strcmp(take->why, "up to date") == 0;
    }
    struct tt_text text = {0};
    bool is_first = true;
    tt_text_addf(&text, "%zu", session->take_count);
    add_share(&text, failed, "could not be done", "could not be done", &is_first);
    add_share(&text, left_out, "was left out", "were left out", &is_first);
    add_share(&text, up_to_date, "was up to date", "were up to date", &is_first);
    out->has_failed = out->has_failed || text.has_failed;
    if (!text.has_failed)
        tt_summary_add_figure(out, "Takes", text.data);
    tt_text_free(&text);
}

void tt_summary_add_running_time(const struct tt_session_report *session, struct tt_text *out)
{
    struct tt_totals totals = tt_session_totals(session);
    double after_s = session->has_narration && session->narration_rate_hz > 0
                         ? (double)session->narration_frames / session->narration_rate_hz
                         : totals.after_s;
    size_t persons_rows = 0;
    for (size_t i = 0; i < session->take_count; i++)
        persons_rows += session->takes[i].has_failed ? 0 : session->takes[i].persons_rows;
    char before[TT_TIME_CHARS], after[TT_TIME_CHARS], removed[TT_TIME_CHARS];
    tt_summary_clock(totals.before_s, before);
    tt_summary_clock(after_s, after);
    tt_summary_clock(totals.removed_s, removed);
    char text[160];
    snprintf(text, sizeof text, "%s -> %s%s, %s taken out", before, after, session->is_plan ? " as planned" : "",
             removed);
    tt_summary_add_figure(out, "Running time", text);
    add_takes_count(session, out);
    add_count(out, persons_rows, "decision of yours is obeyed", "decisions of yours are obeyed");
}

/* What is left of 80 columns behind the figures of a take. */
static const size_t room_for_why = 12;

void tt_summary_add_takes(const struct tt_session_report *session, struct tt_text *out)
{
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        char before[TT_TIME_CHARS], after[TT_TIME_CHARS], loudness[32] = "", questions[32] = "";
        tt_summary_clock(tt_take_before_s(take), before);
        tt_summary_clock(tt_take_after_s(take), after);
        if (take->has_voice && !take->has_failed && isfinite(take->after.levels.integrated_lufs))
            snprintf(loudness, sizeof loudness, "%.1f LUFS", take->after.levels.integrated_lufs);
        if (tt_report_questions(take) > 0)
            snprintf(questions, sizeof questions, "%zu to answer", tt_report_questions(take));
        tt_summary_add_name(out, take->name, 18);
        if (take->has_failed)
            tt_text_add(out, "  could not be done\n");
        if (take->has_failed)
            continue;
        tt_text_addf(out, " %8.12s -> %-8.12s %-11.11s ", before, after, loudness);
        const char *why = tt_take_is_empty(take) ? "empty" : take->why;
        if (strlen(why) > room_for_why) { /* a line of its own, whole */
            tt_text_addf(out, "%s\n", questions);
            tt_summary_add_lines(out, 6, why);
            continue;
        }
        tt_text_addf(out, "%-13.13s ", questions);
        tt_plain_add(out, why);
        tt_text_add(out, "\n");
    }
}

static void add_levels(const struct tt_session_report *session, struct tt_text *out)
{
    struct extent loudness[2] = {no_extent, no_extent}, peak[2] = {no_extent, no_extent},
                  floor[2] = {no_extent, no_extent};
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        if (take->has_failed || !take->is_heard)
            continue;
        widen(&loudness[0], take->heard->facts.before.integrated_lufs);
        widen(&peak[0], take->heard->facts.before.max_true_peak_dbtp);
        widen(&floor[0], take->heard->facts.floor_dbfs);
        if (!take->has_voice)
            continue;
        widen(&floor[1], take->after.floor_dbfs);
        if (session->has_narration)
            continue;
        widen(&loudness[1], take->after.levels.integrated_lufs);
        widen(&peak[1], take->after.levels.max_true_peak_dbtp);
    }
    if (session->has_narration) {
        widen(&loudness[1], session->narration.levels.integrated_lufs);
        widen(&peak[1], session->narration.levels.max_true_peak_dbtp);
    }
    peak[0].lowest = peak[0].highest, peak[1].lowest = peak[1].highest; /* only the highest matters */
    add_pair(out, "Loudness", loudness[0], loudness[1], "LUFS");
    add_pair(out, "True peak", peak[0], peak[1], "dBTP");
    add_pair(out, "Noise floor", floor[0], floor[1], "dBFS");
}

/* A path stays in one piece, so that it can be copied. What is missing in the narration stands in its line, since the
 * last lines are those that are read. */
static void add_narration(const struct tt_session_report *session, struct tt_text *out)
{
    size_t failed = tt_session_totals(session).failed;
    tt_text_add(out, "The narration");
    for (size_t i = 0; failed == 1 && i < session->take_count; i++)
        if (session->takes[i].has_failed) {
            tt_text_add(out, ", WITHOUT ");
            tt_plain_add(out, session->takes[i].name);
            tt_text_add(out, ",");
        }
    if (failed > 1)
        tt_text_addf(out, ", WITHOUT %zu takes,", failed);
    tt_text_add(out, " is ");
    tt_plain_add(out, session->out_folder);
    tt_text_addf(out, "/narration.%s\n", session->settings->deliver.format == TT_CONTAINER_FLAC ? "flac" : "wav");
}

void tt_summary_add_figures(const struct tt_session_report *session, struct tt_text *out)
{
    if (session->target)
        tt_summary_add_figure(out, "Target", session->target);
    add_levels(session, out);
    add_count(out, session->passed_over, "other file in the folder was passed over",
              "other files in the folder were passed over");
    if (session->is_plan)
        tt_text_add(out, "Nothing was rendered (--plan)\n");
    if (session->has_narration && !session->is_plan)
        add_narration(session, out);
    tt_text_add(out, session->settings->report.page ? "The page is " : "All is in ");
    tt_plain_add(out, session->out_folder);
    tt_text_add(out, session->settings->report.page ? "/index.html\n" : "\n");
}
