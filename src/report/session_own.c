/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Of the session's page: what a person decided, which stays through every later run. */
#include <math.h>

#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"

enum { MOST_LISTED = 200 }; /* the rest is in the takes' pages */

/* What is asked about stands among the questions, whoever asks. */
static bool is_own(const struct tt_row *row) { return row->is_persons && row->action != TT_DO_ASK; }

static size_t count_own(const struct tt_session_report *session)
{
    size_t count = 0;
    for (size_t i = 0; i < session->take_count; i++)
        for (size_t k = 0; k < tt_take_row_count(&session->takes[i]); k++)
            count += is_own(&session->takes[i].sheet->rows[k]);
    return count;
}

/* Where the program proposed something else that needs no amount of its own. */
static bool can_go_back(const struct tt_row *row)
{
    bool needs_amount = row->proposed == TT_DO_SHORTEN || row->proposed == TT_DO_SOFTEN || row->proposed == TT_DO_OPEN;
    return !row->is_unproposed && row->proposed != row->action && tt_row_allows(row->kind, row->proposed) &&
           (!needs_amount || isfinite(row->amount));
}

static void add_back_button(struct tt_text *out, const struct tt_take_report *take, const struct tt_row *row,
                            size_t number)
{
    const char *action = tt_row_action_name(row->proposed);
    tt_text_addf(out,
                 "<span class=\"answer no-print\" hidden><button type=\"button\" aria-pressed=\"false\" "
                 "data-answer=\"%zu\" data-action=\"%s\" aria-label=\"as proposed: %s: ",
                 number, action, action);
    tt_html_text(out, take->name);
    tt_text_add(out, " at ");
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_addf(out, "\">as proposed: %s</button></span>", action);
}

static void add_own(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                    const struct tt_take_report *take, const struct tt_row *row)
{
    tt_text_add(out, "<li>");
    tt_kind_mark(out, row->kind);
    tt_take_link(out, take);
    tt_text_add(out, " at ");
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_addf(out, ", %s, <strong>", tt_row_kind_name(row->kind));
    tt_row_done(out, row);
    tt_text_add(out, "</strong>. ");
    tt_row_words(out, session, take, row);
    if (can_go_back(row))
        add_back_button(out, take, row, tt_page_rows_add(rows, take, row));
    tt_text_add(out, "</li>\n");
}

void tt_session_own_list(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session)
{
    size_t count = count_own(session), listed = 0;
    if (count == 0)
        return;
    tt_text_add(out, "<section aria-labelledby=\"own\">\n<h2 id=\"own\">What you decided</h2>\n<p>");
    tt_html_count(out, count, "decision");
    tt_text_add(out, count == 1 ? " is yours. It stays through every later run.</p>\n<ol id=\"own-list\">\n"
                                : " are yours. They stay through every later run.</p>\n<ol id=\"own-list\">\n");
    for (size_t i = 0; i < session->take_count; i++)
        for (size_t k = 0; k < tt_take_row_count(&session->takes[i]) && listed < MOST_LISTED; k++) {
            const struct tt_row *row = &session->takes[i].sheet->rows[k];
            if (!is_own(row))
                continue;
            add_own(out, rows, session, &session->takes[i], row);
            listed++;
        }
    tt_text_add(out, "</ol>\n");
    if (count > listed)
        tt_text_addf(out, "<p>%zu more are in the pages of their takes.</p>\n", count - listed);
    tt_text_add(out, "</section>\n");
}
