/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a person must do first: takes that failed, open questions, warnings. */
#include <math.h>
#include <string.h>

#include "report/html.h"
#include "report/page.h"

static void add_failed(struct tt_text *out, const struct tt_session_report *session)
{
    for (size_t i = 0; i < session->take_count; i++) {
        if (!session->takes[i].has_failed)
            continue;
        tt_text_addf(out, "<li><strong>Could not be done%s:</strong> ",
                     session->has_narration ? ", the narration is without it" : "");
        tt_html_name(out, session->takes[i].error); /* begins with the take's name */
        tt_text_add(out, "</li>\n");
    }
}

/* What is said of a place, or of how it was read, is worth listening to; the rest is advice on the recording or the
 * delivery. */
static bool is_worth_hearing(const struct tt_warning *warning)
{
    return isfinite(warning->at_s) || strcmp(warning->code, "clipped") == 0 || strcmp(warning->code, "pace") == 0;
}

static bool has_warnings(const struct tt_take_report *take) { return !take->has_failed && take->is_heard; }

/* Advice on whole takes is given once, with the takes that it holds for. */
static bool was_said(const struct tt_session_report *session, size_t take_index, const struct tt_warning *warning)
{
    for (size_t i = 0; i < take_index; i++)
        for (size_t k = 0; has_warnings(&session->takes[i]) && k < session->takes[i].warning_count; k++)
            if (!is_worth_hearing(&session->takes[i].warnings[k]) &&
                strcmp(session->takes[i].warnings[k].code, warning->code) == 0)
                return true;
    return false;
}

static void add_likewise(struct tt_text *out, const struct tt_session_report *session, size_t take_index,
                         const struct tt_warning *warning)
{
    size_t more = 0;
    for (size_t i = take_index + 1; i < session->take_count; i++)
        for (size_t k = 0; has_warnings(&session->takes[i]) && k < session->takes[i].warning_count; k++)
            if (!is_worth_hearing(&session->takes[i].warnings[k]) &&
                strcmp(session->takes[i].warnings[k].code, warning->code) == 0) {
                more++;
                break;
            }
    if (more == 0)
        return;
    tt_text_add(out, " <span class=\"quiet\">(likewise in ");
    tt_html_count(out, more, "more take");
    tt_text_add(out, ": see there)</span>");
}

static void add_warning(struct tt_text *out, const struct tt_session_report *session, size_t take_index,
                        const struct tt_warning *warning)
{
    const struct tt_take_report *take = &session->takes[take_index];
    tt_text_add(out, "<li>");
    tt_take_link(out, take);
    if (isfinite(warning->at_s)) {
        tt_text_add(out, " at ");
        tt_html_clock(out, warning->at_s);
    }
    tt_text_add(out, ": ");
    tt_html_name(out, warning->message);
    if (!is_worth_hearing(warning))
        add_likewise(out, session, take_index, warning);
    tt_text_add(out, "</li>\n");
}

static size_t add_take_warnings(struct tt_text *out, const struct tt_session_report *session, bool is_to_hear)
{
    size_t count = 0;
    for (size_t i = 0; i < session->take_count; i++)
        for (size_t k = 0; has_warnings(&session->takes[i]) && k < session->takes[i].warning_count; k++) {
            const struct tt_warning *warning = &session->takes[i].warnings[k];
            if (is_worth_hearing(warning) != is_to_hear || (!is_to_hear && was_said(session, i, warning)))
                continue;
            if (count++ == 0 && is_to_hear)
                tt_text_add(out, "<h3>Listen, and perhaps read again</h3>\n<ul>\n");
            add_warning(out, session, i, warning);
        }
    return count;
}

static size_t add_warnings(struct tt_text *out, const struct tt_session_report *session)
{
    size_t to_hear = add_take_warnings(out, session, true);
    if (to_hear > 0)
        tt_text_add(out, "</ul>\n");
    struct tt_text advice = {0};
    size_t count = add_take_warnings(&advice, session, false) + session->warning_count;
    if (count > 0) {
        tt_text_add(out, "<h3>To know, and to put right</h3>\n<ul>\n");
        for (size_t i = 0; i < session->warning_count; i++) {
            tt_text_add(out, "<li>");
            tt_html_name(out, session->warnings[i].message);
            tt_text_add(out, "</li>\n");
        }
        if (advice.data)
            tt_text_add(out, advice.data);
        tt_text_add(out, "</ul>\n");
    }
    if (advice.has_failed)
        out->has_failed = true;
    tt_text_free(&advice);
    return to_hear;
}

void tt_session_todo(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                     const struct tt_totals *totals)
{
    tt_text_add(out, "<section class=\"todo\" aria-labelledby=\"todo\">\n<h2 id=\"todo\">What to do first</h2>\n");
    if (totals->failed > 0) {
        tt_text_add(out, "<ul>\n");
        add_failed(out, session);
        tt_text_add(out, "</ul>\n");
    }
    if (totals->questions > 0)
        tt_session_questions(out, rows, session);
    struct tt_text warnings = {0};
    size_t to_hear = add_warnings(&warnings, session);
    if (totals->failed == 0 && totals->questions == 0) {
        tt_text_add(out, "<p><strong>No question is open");
        tt_text_add(out, to_hear > 0 ? ".</strong></p>\n"
                                     : ", and nothing needs to be read again.</strong> Hear what was taken out below, "
                                       "if you like to be sure.</p>\n");
    }
    if (warnings.data)
        tt_text_add(out, warnings.data);
    if (warnings.has_failed)
        out->has_failed = true;
    tt_text_free(&warnings);
    if (totals->questions == 0)
        tt_page_changes(out, session);
    tt_text_add(out, "</section>\n");
}
