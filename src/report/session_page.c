/* SPDX-License-Identifier: GPL-2.0-or-later */
/* OUT/index.html: the session, first what a person must do. */
#include <math.h>

#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"
#include "report/totals.h"

static void add_lead(struct tt_text *out, const struct tt_session_report *session, const struct tt_totals *totals)
{
    tt_text_add(out, "<header>\n<h1>");
    tt_html_name(out, session->name);
    tt_text_add(out, "</h1>\n<p class=\"lead\">");
    tt_html_count(out, session->take_count, "take");
    tt_text_add(out, ", ");
    tt_html_length(out, totals->before_s);
    tt_text_add(out, " recorded; ");
    if (session->has_narration && session->narration_rate_hz > 0) {
        tt_text_add(out, "the narration runs ");
        tt_html_length(out, (double)session->narration_frames / session->narration_rate_hz);
    } else {
        tt_html_length(out, totals->after_s);
        tt_text_add(out, session->is_plan ? " would stay" : " of voice");
    }
    tt_text_add(out, ".</p>\n");
    if (session->is_plan)
        tt_text_add(out, "<p>This is a plan: everything was heard and decided, nothing was rendered.</p>\n");
    tt_text_add(out, "</header>\n<main>\n");
}

/* ---- narration and totals ---- */

static void add_narration(struct tt_text *out, const struct tt_session_report *session)
{
    tt_text_add(out, "<section aria-labelledby=\"narration\">\n<h2 id=\"narration\">The narration</h2>\n");
    if (!session->has_narration) {
        tt_text_add(out,
                    session->is_plan
                        ? "<p>Not rendered: this is a plan.</p>\n</section>\n"
                        : "<p>No narration was written; the voice of each take is in its row below.</p>\n</section>\n");
        return;
    }
    const struct tt_levels *levels = &session->narration.levels;
    if (session->settings->deliver.format == TT_CONTAINER_RF64)
        tt_text_add(out, "<p>Browsers cannot play RF64 files: open <code>narration.wav</code> in a player or in the "
                         "edit system. The takes can be heard on their own pages.</p>\n");
    else
        tt_text_addf(out,
                     "<audio controls preload=\"metadata\" aria-label=\"The narration\" src=\"narration%s\"></audio>\n",
                     tt_page_sound_ending(session));
    tt_text_add(out, "<p>");
    tt_html_clock(out, session->narration_rate_hz > 0 ? (double)session->narration_frames / session->narration_rate_hz
                                                      : (double)NAN);
    tt_text_add(out, " long; ");
    tt_html_number(out, levels->integrated_lufs, 1);
    tt_text_add(out, "\xC2\xA0LUFS, true peak ");
    tt_html_number(out, levels->max_true_peak_dbtp, 1);
    tt_text_add(out, "\xC2\xA0"
                     "dBTP");
    if (isfinite(session->narration.floor_dbfs)) {
        tt_text_add(out, ", floor ");
        tt_html_number(out, session->narration.floor_dbfs, 1);
        tt_text_add(out, "\xC2\xA0"
                         "dBFS");
    }
    if (session->target) {
        tt_text_add(out, "; made for the target ");
        tt_html_name(out, session->target);
    }
    tt_text_add(out, ".</p>\n</section>\n");
}

static bool sum_removed(const struct tt_session_report *session, struct tt_removed *sum, struct tt_error *err)
{
    *sum = (struct tt_removed){0};
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        struct tt_removed one;
        if (take->has_failed || !take->is_heard)
            continue;
        if (!tt_removed_measure(take->sheet, take->map, take->heard->facts.frame_count, &one, err))
            return false;
        sum->seconds += one.seconds;
        for (int kind = 0; kind < TT_ROW_KINDS; kind++) {
            sum->by_kind[kind].count += one.by_kind[kind].count;
            sum->by_kind[kind].seconds += one.by_kind[kind].seconds;
        }
    }
    return true;
}

static bool add_removed(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                        struct tt_error *err)
{
    struct tt_removed removed;
    if (!sum_removed(session, &removed, err))
        return false;
    tt_text_add(out, "<section aria-labelledby=\"removed\">\n<h2 id=\"removed\">What was taken out</h2>\n<p><strong>");
    tt_html_length(out, removed.seconds);
    tt_text_add(out, "</strong> in all: ");
    tt_page_removed(out, &removed);
    tt_text_add(out, ".</p>\n");
    if (!tt_session_removed_list(out, rows, session, err))
        return false;
    tt_text_add(out, "</section>\n");
    return true;
}

/* ---- takes ---- */

static void add_cell(struct tt_text *out, double value, int decimals)
{
    tt_text_add(out, "<td class=\"n\">");
    tt_html_number(out, value, decimals);
    tt_text_add(out, "</td>");
}

static void add_clock_cell(struct tt_text *out, double seconds)
{
    tt_text_add(out, "<td class=\"n\">");
    tt_html_clock(out, seconds);
    tt_text_add(out, "</td>");
}

static void add_take_figures(struct tt_text *out, const struct tt_take_report *take)
{
    const struct tt_heard_facts *facts = &take->heard->facts;
    size_t questions = tt_report_questions(take);
    add_clock_cell(out, tt_take_before_s(take));
    add_clock_cell(out, tt_take_after_s(take));
    add_clock_cell(out, tt_take_removed_s(take));
    add_cell(out, facts->before.integrated_lufs, 1);
    add_cell(out, take->has_voice ? take->after.levels.integrated_lufs : (double)NAN, 1);
    add_cell(out, facts->floor_dbfs, 1);
    add_cell(out, take->has_voice ? take->after.floor_dbfs : (double)NAN, 1);
    tt_text_addf(out, questions > 0 ? "<td class=\"n\"><strong>%zu</strong></td><td>" : "<td class=\"n\">%zu</td><td>",
                 questions);
    if (tt_take_is_empty(take))
        tt_text_add(out, "nothing of it is left");
    else
        tt_html_text(out, take->why);
    tt_text_add(out, "</td>");
}

static void add_take(struct tt_text *out, const struct tt_take_report *take)
{
    bool has_page = !take->has_failed && take->is_heard;
    tt_text_add(out, "<tr><th scope=\"row\">");
    if (has_page)
        tt_take_link(out, take);
    else
        tt_html_name(out, take->name);
    tt_text_add(out, "</th>");
    if (has_page) {
        add_take_figures(out, take);
    } else {
        tt_text_add(out, "<td colspan=\"9\">");
        tt_html_name(out, take->has_failed ? take->error : take->why);
        tt_text_add(out, "</td>");
    }
    tt_text_add(out, "</tr>\n");
}

static void add_passed_over_names(struct tt_text *out, const struct tt_session_report *session)
{
    size_t named = session->passed_over < TT_MOST_PASSED_OVER_NAMES ? session->passed_over : TT_MOST_PASSED_OVER_NAMES;
    for (size_t i = 0; i < named; i++) {
        tt_text_add(out, i > 0 ? ", " : "");
        tt_html_name(out, session->passed_over_names[i]);
    }
    if (session->passed_over > named)
        tt_text_addf(out, " and %zu more", session->passed_over - named);
}

static void add_takes(struct tt_text *out, const struct tt_session_report *session)
{
    tt_text_add(out,
                "<section aria-labelledby=\"takes\">\n<h2 id=\"takes\">Takes, in running order</h2>\n"
                "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table of takes\"><table "
                "class=\"takes\">\n<thead><tr><th scope=\"col\">Take</th>"
                "<th scope=\"col\" class=\"n\">Recorded</th><th scope=\"col\" class=\"n\">Voice</th><th scope=\"col\" "
                "class=\"n\">Out</th>"
                "<th scope=\"col\" class=\"n\">LUFS before</th><th scope=\"col\" class=\"n\">after</th>"
                "<th scope=\"col\" class=\"n\">Floor dBFS before</th><th scope=\"col\" class=\"n\">after</th>"
                "<th scope=\"col\" class=\"n\">Questions</th><th scope=\"col\">This run</th></tr></thead>\n<tbody>\n");
    for (size_t i = 0; i < session->take_count; i++)
        add_take(out, &session->takes[i]);
    tt_text_add(out, "</tbody></table></div>\n");
    if (session->passed_over > 0) {
        tt_text_add(out, "<p class=\"quiet\">");
        tt_html_count(out, session->passed_over, "other file");
        tt_text_add(out, " in the folder: no sound files, passed over: ");
        add_passed_over_names(out, session);
        tt_text_add(out, ".</p>\n");
    }
    tt_text_add(out, "</section>\n");
}

/* ---- files ---- */

static void add_file(struct tt_text *out, const char *path, const char *what)
{
    tt_text_addf(out, "<li><a href=\"%s\"><code>%s</code></a> %s</li>\n", path, path, what);
}

static void add_files(struct tt_text *out, const struct tt_session_report *session)
{
    tt_text_add(out, "<section aria-labelledby=\"files\">\n<h2 id=\"files\">Where things are</h2>\n<p>All in <code>");
    tt_html_name(out, session->out_folder);
    tt_text_add(out, "</code>; the takes lie, untouched, in <code>");
    tt_html_name(out, session->source_folder);
    tt_text_add(out, "</code>.</p>\n<ul>\n");
    if (session->has_narration) {
        add_file(out, tt_page_sound_ending(session)[1] == 'f' ? "narration.flac" : "narration.wav",
                 "all takes in order");
        add_file(out, "edit/narration.edl", "what of each take is in the narration, as an edit list");
        add_file(out, "edit/narration.otio", "the same, sample-exact, as an OpenTimelineIO timeline");
    }
    if (!session->is_plan)
        add_file(out, "voice/", "the voice of each take");
    add_file(out, "sheets/", "the cut sheets: every decision, to read and to change");
    tt_text_add(out, "</ul>\n<h3>To take a decision back</h3>\n<p class=\"no-print\">Press \xE2\x80\x9Cput it "
                     "back\xE2\x80\x9D above, or \xE2\x80\x9C"
                     "change\xE2\x80\x9D on the page of a take, and save the file of changes that is then "
                     "offered.</p>\n<p>Or open the take\xE2\x80\x99s sheet, <code>sheets/TAKE.csv</code>, "
                     "change <code>cut</code> to <code>keep</code> in the row\xE2\x80\x99s column <code>action</code>, "
                     "save, and run the same command again; only what changed is done anew:</p>\n<pre>");
    tt_page_command(out, session, false);
    tt_text_add(out, "</pre>\n<p class=\"quiet\">With the options of the first run, if there were any. Rows that you "
                     "changed stay through every later run.</p>\n</section>\n");
}

/* Shown by the script where there is something to go to. */
static void add_keys(struct tt_text *out)
{
    tt_text_add(out,
                "<p class=\"quiet no-print\" id=\"walk\" hidden><label><input type=\"checkbox\" id=\"keys\" checked> "
                "Keys:</label> <kbd>d</kbd> hear the next question or part, <kbd>u</kbd> the one before, "
                "<kbd>space</kbd> stop or hear it again, <kbd>h</kbd> hear it otherwise, <kbd>1</kbd> "
                "<kbd>2</kbd> <kbd>3</kbd> give an answer.</p>\n");
}

bool tt_report_session_page(const struct tt_session_report *session, struct tt_text *out, struct tt_error *err)
{
    static const char *const *const scripts[] = {tt_script_common, tt_script_session, tt_script_walk, NULL};
    struct tt_page_head head = {session->name, tt_page_style, scripts};
    struct tt_totals totals = tt_session_totals(session);
    struct tt_page_rows rows = {0};
    struct tt_text data = {0};
    if (!tt_html_open(out, &head, err))
        return false;
    tt_kind_symbols(out);
    add_lead(out, session, &totals);
    tt_text_add(out, "<div class=\"tools no-print\">");
    tt_page_level_control(out);
    tt_text_add(out, "<span id=\"said\" role=\"status\"></span></div>\n");
    tt_page_caution(out);
    add_keys(out);
    tt_session_todo(out, &rows, session, &totals);
    add_narration(out, session);
    bool ok = add_removed(out, &rows, session, err);
    tt_session_own_list(out, &rows, session);
    add_takes(out, session);
    add_files(out, session);
    tt_text_add(out, "</main>\n");
    tt_page_footer(out, session);
    if (rows.count > 0 && rows.text.data)
        tt_text_addf(&data, "{\"rows\":[%s]}", rows.text.data);
    tt_html_close(out, &head, data.data ? data.data : "");
    bool has_failed = data.has_failed || rows.text.has_failed || out->has_failed;
    tt_text_free(&data);
    tt_text_free(&rows.text);
    return ok && (!has_failed || tt_fail_memory(err));
}
