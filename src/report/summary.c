/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The terminal's summary. Its order is that of a person's work: what is missing, what to decide, what to read again,
 * what was taken out, how it came out. */
#include <math.h>
#include <string.h>

#include "report/plain.h"
#include "report/removed.h"
#include "report/report.h"
#include "report/summary_figures.h"
#include "report/summary_text.h"
#include "report/totals.h"

enum { LISTED_MOST = 8, REMOVALS_MOST = 5 };

/* The sum of what is left out of a list. */
static void add_rest(struct tt_text *out, size_t count, const char *where)
{
    if (count > LISTED_MOST)
        tt_text_addf(out, "  ... and %zu more%s\n", count - LISTED_MOST, where);
}

static void add_row(struct tt_text *out, const struct tt_take_report *take, const struct tt_row *row, double seconds)
{
    struct tt_text text = {0};
    if (isfinite(seconds))
        tt_text_addf(&text, "%.1f s  ", seconds);
    tt_text_add(&text, tt_row_kind_name(row->kind));
    if (row->note && row->note[0])
        tt_text_addf(&text, ": %s", row->note);
    if (text.has_failed)
        out->has_failed = true;
    else
        tt_summary_add_item(out, take->name, row->start_ms, text.data);
    tt_text_free(&text);
}

/* Talk has no other reading, nor has a line that stops in mid-word. */
static bool asks_of_two_readings_only(const struct tt_session_report *session)
{
    struct tt_span span;
    const char *other;
    for (size_t i = 0; i < session->take_count; i++)
        for (size_t k = 0; k < tt_take_row_count(&session->takes[i]); k++)
            if (session->takes[i].sheet->rows[k].action == TT_DO_ASK &&
                (session->takes[i].sheet->rows[k].kind != TT_ROW_MISREAD ||
                 !tt_row_reread(&session->takes[i].sheet->rows[k], &span, &other)))
                return false;
    return true;
}

static void add_questions(const struct tt_session_report *session, struct tt_text *out)
{
    size_t count = tt_session_totals(session).questions, listed = 0;
    if (count == 0) {
        tt_text_add(out, "No question is open\n\n");
        return;
    }
    tt_text_addf(out, "%zu question%s, %s\n", count, count == 1 ? "" : "s",
                 asks_of_two_readings_only(session) ? "both readings are still in" : "what is asked about is still in");
    for (size_t i = 0; i < session->take_count && listed < LISTED_MOST; i++) {
        const struct tt_take_report *take = &session->takes[i];
        for (size_t k = 0; k < tt_take_row_count(take) && listed < LISTED_MOST; k++) {
            if (take->sheet->rows[k].action != TT_DO_ASK)
                continue;
            add_row(out, take, &take->sheet->rows[k], NAN);
            listed++;
        }
    }
    add_rest(out, count, "");
    tt_text_add(out, "  Answer on the page, or in the column `action` of the cut sheet\n\n");
}

/* Warnings about whole takes that recur from take to take are one line. */
enum { CODES_MOST = 32 };
struct warning_code {
    const char *code;
    size_t takes;
    bool is_listed;
};
struct warning_list {
    struct tt_text *out;
    const char *take;
    struct warning_code codes[CODES_MOST];
    size_t code_count, count, listed;
};

static struct warning_code *find_code(struct warning_list *list, const char *code)
{
    for (size_t i = 0; i < list->code_count; i++)
        if (strcmp(list->codes[i].code, code) == 0)
            return &list->codes[i];
    if (list->code_count == CODES_MOST)
        return NULL;
    list->codes[list->code_count] = (struct warning_code){code, 0, false};
    return &list->codes[list->code_count++];
}

static bool is_timed(double at_s) { return isfinite(at_s) && at_s >= 0 && at_s < 1e9; }

static bool count_warning(void *context, const char *code, const char *message, double at_s)
{
    (void)message;
    struct warning_list *list = context;
    struct warning_code *known = is_timed(at_s) ? NULL : find_code(list, code);
    list->count += !known || known->takes == 0;
    if (known)
        known->takes++;
    return true;
}

static bool add_warning(void *context, const char *code, const char *message, double at_s)
{
    struct warning_list *list = context;
    struct warning_code *known = is_timed(at_s) ? NULL : find_code(list, code);
    if (known && known->is_listed)
        return true;
    if (known)
        known->is_listed = true;
    if (list->listed++ >= LISTED_MOST)
        return true;
    struct tt_text text = {0};
    tt_text_add(&text, message);
    if (known && known->takes > 1)
        tt_text_addf(&text, " (and likewise in %zu more take%s)", known->takes - 1, known->takes == 2 ? "" : "s");
    if (text.has_failed)
        list->out->has_failed = true;
    else
        tt_summary_add_item(list->out, list->take, is_timed(at_s) ? llround(at_s * 1000) : -1, text.data);
    tt_text_free(&text);
    return true;
}

static void visit_warnings(const struct tt_session_report *session, struct warning_list *list,
                           bool (*visit)(void *, const char *, const char *, double))
{
    list->take = NULL;
    for (size_t i = 0; i < session->warning_count; i++)
        visit(list, session->warnings[i].code, session->warnings[i].message, session->warnings[i].at_s);
    for (size_t i = 0; i < session->take_count; i++) {
        list->take = session->takes[i].name;
        tt_take_visit_warnings(&session->takes[i], visit, list);
    }
}

static void add_warnings(const struct tt_session_report *session, struct tt_text *out)
{
    struct warning_list list = {.out = out};
    visit_warnings(session, &list, count_warning);
    if (list.count == 0)
        return;
    tt_text_addf(out, "%zu warning%s: lines to read again, or things to put right\n", list.count,
                 list.count == 1 ? "" : "s");
    visit_warnings(session, &list, add_warning);
    add_rest(out, list.count, "; the page has them all");
    tt_text_add(out, "\n");
}

struct removal {
    const struct tt_take_report *take;
    const struct tt_row *row;
    double seconds;
};

/* Keeps the longest, the earlier first among equals. */
static void offer_removal(struct removal *longest, size_t *count, struct removal removal)
{
    size_t place = *count;
    while (place > 0 && longest[place - 1].seconds < removal.seconds)
        place--;
    if (place == REMOVALS_MOST)
        return;
    if (*count < REMOVALS_MOST)
        ++*count;
    memmove(longest + place + 1, longest + place, (*count - 1 - place) * sizeof *longest);
    longest[place] = removal;
}

static void add_removals(const struct tt_session_report *session, struct tt_text *out)
{
    struct removal longest[REMOVALS_MOST];
    size_t count = 0;
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        for (size_t k = 0; k < tt_take_row_count(take); k++) {
            const struct tt_row *row = &take->sheet->rows[k];
            struct tt_span span;
            if (!tt_row_removes(row, &span))
                continue;
            double stays_s = row->action == TT_DO_SHORTEN && isfinite(row->amount) ? row->amount : 0;
            double seconds = (double)(span.end_ms - span.start_ms) / 1000 - stays_s;
            if (seconds > 0)
                offer_removal(longest, &count, (struct removal){take, row, seconds});
        }
    }
    if (count == 0)
        return;
    tt_text_add(out, "Longest removals\n");
    for (size_t i = 0; i < count; i++)
        add_row(out, longest[i].take, longest[i].row, longest[i].seconds);
    tt_text_add(out, "\n");
}

static void add_fallen_out(const struct tt_session_report *session, struct tt_text *out)
{
    struct tt_totals totals = tt_session_totals(session);
    if (totals.empty > 0)
        tt_text_addf(out, "Nothing is left of %zu take%s\n", totals.empty, totals.empty == 1 ? "" : "s");
    size_t listed = 0;
    for (size_t i = 0; i < session->take_count; i++)
        if (tt_take_is_empty(&session->takes[i]) && listed++ < LISTED_MOST)
            tt_summary_add_lines(out, 2, session->takes[i].name);
    add_rest(out, listed, "; the page has them all");
    if (totals.failed > 0)
        tt_text_addf(out, "%zu take%s could not be done%s\n", totals.failed, totals.failed == 1 ? "" : "s",
                     session->has_narration
                         ? totals.failed == 1 ? ": the narration is WITHOUT it" : ": the narration is WITHOUT them"
                         : "");
    listed = 0;
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        if (!take->has_failed || listed++ >= LISTED_MOST)
            continue;
        struct tt_text text = {0};
        /* Most errors open with the path already, as it can be shown. */
        struct tt_text shown = {0};
        tt_plain_add(&shown, take->name);
        if (!shown.data || !strstr(take->error, shown.data))
            tt_text_addf(&text, "%s: ", take->name);
        text.has_failed = text.has_failed || shown.has_failed;
        tt_text_free(&shown);
        tt_text_add(&text, take->error);
        if (text.has_failed)
            out->has_failed = true;
        else
            tt_summary_add_lines(out, 2, text.data);
        tt_text_free(&text);
    }
    add_rest(out, listed, "; the page has them all");
    if (totals.empty + totals.failed > 0)
        tt_text_add(out, "\n");
}

bool tt_report_summary(const struct tt_session_report *session, bool verbose, struct tt_text *out, struct tt_error *err)
{
    add_fallen_out(session, out);
    add_questions(session, out);
    add_warnings(session, out);
    add_removals(session, out);
    tt_summary_add_running_time(session, out);
    if (verbose)
        tt_summary_add_takes(session, out);
    tt_text_add(out, "\n");
    tt_summary_add_figures(session, out);
    return out->has_failed ? tt_fail_memory(err) : true;
}
