/* SPDX-License-Identifier: GPL-2.0-or-later */
/* OUT/report/STEM.html: one take, before and after. */
#include <math.h>

#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"
#include "report/totals.h"

static const char minus_sign[] = "\xE2\x88\x92";

static void add_heading(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    tt_text_add(out, "<header>\n<p class=\"no-print\"><a href=\"../index.html\">All takes of ");
    tt_html_name(out, session->name);
    tt_text_add(out, "</a></p>\n<h1>");
    tt_html_name(out, take->name);
    tt_text_add(out, "</h1>\n");
}

static void add_lead(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                     const struct tt_removed *removed)
{
    tt_text_add(out, "<p class=\"lead\">");
    tt_html_length(out, tt_take_before_s(take));
    if (tt_take_is_empty(take))
        tt_text_add(out, " recorded, and nothing of it is left");
    else {
        tt_text_add(out, " recorded, ");
        tt_html_length(out, tt_take_after_s(take));
        tt_text_add(out, take->has_voice ? " of voice" : " would stay");
    }
    tt_text_add(out, ". Taken out: ");
    tt_page_removed(out, removed);
    tt_text_add(out, ".</p>\n");
    if (session->is_plan)
        tt_text_add(out, "<p>This is a plan: nothing was rendered yet.</p>\n");
    tt_text_add(out, "</header>\n<main>\n");
}

static void add_todo(struct tt_text *out, const struct tt_take_report *take)
{
    size_t questions = tt_report_questions(take);
    if (questions == 0 && take->warning_count == 0)
        return;
    tt_text_addf(out, "<section class=\"todo\" aria-labelledby=\"todo\">\n<h2 id=\"todo\">%s</h2>\n<ul>\n",
                 questions > 0 ? "What to do first" : "To know");
    if (questions > 0) {
        tt_text_add(out, "<li><strong>");
        tt_html_count(out, questions, "open question");
        tt_text_add(out, "</strong>: what is asked about is still in. Listen in the <a "
                         "href=\"#decisions\">table</a> (action \xE2\x80\x9C"
                         "asks you\xE2\x80\x9D), and choose.</li>\n");
    }
    for (size_t i = 0; i < take->warning_count; i++) {
        tt_text_add(out, "<li>");
        if (isfinite(take->warnings[i].at_s)) {
            tt_text_add(out, "At ");
            tt_html_clock(out, take->warnings[i].at_s);
            tt_text_add(out, ": ");
        }
        tt_html_name(out, take->warnings[i].message);
        tt_text_add(out, "</li>\n");
    }
    tt_text_add(out, "</ul>\n</section>\n");
}

static void add_listening(struct tt_text *out, const struct tt_session_report *session,
                          const struct tt_take_report *take, const struct tt_page_loudness *loudness)
{
    struct tt_text folder = {0};
    tt_text_addf(&folder, "%s/report", session->out_folder);
    if (folder.data)
        tt_take_listening(out, folder.data, take, loudness);
    if (folder.has_failed)
        out->has_failed = true;
    tt_text_free(&folder);
}

static void add_gain_words(struct tt_text *out, const struct tt_take_report *take)
{
    if (!take->has_voice)
        return;
    tt_text_add(out, "<p class=\"quiet\">The voice was turned ");
    tt_text_add(out, take->gain_db < 0 ? "down by " : "up by ");
    tt_html_number(out, fabs(take->gain_db), 1);
    tt_text_add(out, "\xC2\xA0"
                     "dB");
    if (take->limited_db > 0.05) {
        tt_text_add(out, "; its loudest peaks were held back by up to ");
        tt_html_number(out, take->limited_db, 1);
        tt_text_add(out, "\xC2\xA0"
                         "dB");
    }
    tt_text_addf(out,
                 ". Loudness and peaks as ITU-R BS.1770-5 measures them. A louder figure is nearer to 0: %s16 is "
                 "louder than %s20. The floor is what is left "
                 "between the lines.</p>\n",
                 minus_sign, minus_sign);
    if (take->out_channel_count == 2)
        tt_text_add(
            out,
            "<p class=\"quiet\">The voice is in two channels alike, which reads 3.01\xC2\xA0LU higher than one.</p>\n");
}

static void add_pace_words(struct tt_text *out, const struct tt_take_report *take)
{
    if (!(take->pace_syllables_per_s > 0))
        return;
    tt_text_add(out, "<p class=\"quiet\">What stays is read at about ");
    tt_html_number(out, take->pace_syllables_per_s, 1);
    tt_text_add(out, " syllables a second of speech, pauses not counted.</p>\n");
}

static void add_details(struct tt_text *out, const struct tt_take_report *take)
{
    const struct tt_heard_facts *facts = &take->heard->facts;
    tt_text_add(out, "<section aria-labelledby=\"details\">\n<h2 id=\"details\">The recording</h2>\n<p><code>");
    tt_html_name(out, take->source_path);
    tt_text_addf(out, "</code></p>\n<p>%d\xC2\xA0Hz, ", facts->rate_hz);
    tt_html_count(out, (size_t)facts->channel_count, "channel");
    if (facts->channel_count > 1) {
        if (facts->channel < 0)
            tt_text_add(out, "; the mean of them was used");
        else
            tt_text_addf(out, "; channel %d was used", facts->channel + 1);
    }
    if (facts->channel_why[0]) {
        tt_text_add(out, ": ");
        tt_html_name(out, facts->channel_why);
    }
    tt_text_add(out, ".</p>\n");
    if (take->persons_rows > 0) {
        tt_text_add(out, "<p>");
        tt_html_count(out, take->persons_rows, "row");
        tt_text_add(out, " of its sheet came from you, and stayed as you made them.</p>\n");
    }
    tt_text_add(out, "</section>\n");
}

static bool add_body(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                     const struct tt_page_loudness *loudness, struct tt_error *err)
{
    struct tt_removed removed;
    if (!tt_removed_measure(take->sheet, take->map, take->heard->facts.frame_count, &removed, err))
        return false;
    tt_kind_symbols(out);
    add_heading(out, session, take);
    add_lead(out, session, take, &removed);
    add_todo(out, take);
    if (take->play_before || take->play_after)
        add_listening(out, session, take, loudness);
    tt_take_picture(out, session, take);
    tt_take_view(out, take);
    tt_take_decisions(out, session, take);
    tt_text_add(out,
                "<div class=\"beside\">\n<section aria-labelledby=\"figures\">\n<h2 id=\"figures\">Figures</h2>\n");
    tt_take_figures_table(out, take);
    add_gain_words(out, take);
    add_pace_words(out, take);
    tt_text_add(out, "</section>\n");
    tt_take_charts(out, session, take);
    tt_text_add(out, "</div>\n");
    add_details(out, take);
    tt_text_add(out, "</main>\n");
    tt_page_footer(out, session);
    return true;
}

/* A take that failed has a page too, should one be asked for. */
static void add_failed_body(struct tt_text *out, const struct tt_session_report *session,
                            const struct tt_take_report *take)
{
    add_heading(out, session, take);
    tt_text_add(out, "</header>\n<main>\n<p class=\"todo\">This take could not be done: ");
    tt_html_name(out, take->error);
    tt_text_add(out, "</p>\n</main>\n");
    tt_page_footer(out, session);
}

bool tt_report_take_page(const struct tt_session_report *session, const struct tt_take_report *take,
                         struct tt_text *out, struct tt_error *err)
{
    static const char *const *const scripts[] = {tt_script_common, tt_script_take, tt_script_blind, tt_script_view,
                                                 NULL};
    static const char *const *const no_scripts[] = {NULL};
    bool is_done = !take->has_failed && take->is_heard;
    struct tt_page_head head = {take->name, tt_page_style, is_done ? scripts : no_scripts};
    struct tt_page_loudness loudness = {NAN, NAN};
    struct tt_text data = {0};
    bool ok = tt_html_open(out, &head, err);
    if (is_done)
        ok = ok && tt_page_loudness_of(take, &loudness, err) && add_body(out, session, take, &loudness, err) &&
             tt_take_data(&data, take, &loudness);
    else
        add_failed_body(out, session, take);
    if (ok)
        tt_html_close(out, &head, data.data ? data.data : "");
    ok = ok && !data.has_failed && !out->has_failed;
    tt_text_free(&data);
    return ok || tt_fail_memory(err);
}
