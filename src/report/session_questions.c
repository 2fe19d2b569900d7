/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The list of open questions on the session's page, each to be heard and answered. */
#include <math.h>

#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"
#include "report/sound_buttons.h"

enum { MOST_QUESTIONS_PRINTED = 8 };

static void add_sheet_line(struct tt_text *out, const struct tt_take_report *take, size_t index)
{
    const struct tt_row *row = &take->sheet->rows[index];
    char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
    tt_time_format(row->start_ms, start);
    tt_time_format(row->end_ms, end);
    tt_text_add(out, "<span class=\"note\">In the sheet: <a href=\"sheets/");
    tt_html_url(out, take->stem);
    tt_text_add(out, ".csv\"><code>sheets/");
    tt_html_name(out, take->stem);
    tt_text_addf(out, ".csv</code></a>, line %zu (<code>", tt_row_line(take->sheet, index));
    tt_html_text(out, row->id);
    tt_text_addf(out, "</code>, %s to %s)</span>", start, end);
}

/* Answers in words; what each stands for is the action. */
enum { ANY_READING, WITH_OTHER, ALONE };
static const struct {
    enum tt_row_kind kind;
    int readings;
    enum tt_row_action action;
    const char *words;
} answers[] = {{TT_ROW_MISREAD, WITH_OTHER, TT_DO_CUT, "Cut it, the other reading stays"},
               {TT_ROW_MISREAD, WITH_OTHER, TT_DO_KEEP, "Keep both"},
               {TT_ROW_MISREAD, WITH_OTHER, TT_DO_CHOOSE, "Keep it, the other reading goes"},
               {TT_ROW_MISREAD, ALONE, TT_DO_CUT, "Cut it"},
               {TT_ROW_MISREAD, ALONE, TT_DO_KEEP, "Keep it"},
               {TT_ROW_TALK, ANY_READING, TT_DO_CUT, "Cut it"},
               {TT_ROW_TALK, ANY_READING, TT_DO_KEEP, "Keep it"},
               {TT_ROW_NOISE, ANY_READING, TT_DO_CUT, "Cut it"},
               {TT_ROW_NOISE, ANY_READING, TT_DO_SOFTEN, "Turn it down"},
               {TT_ROW_NOISE, ANY_READING, TT_DO_KEEP, "Keep it"}};

/* Whether the row's note names a reading that would replace it. */
static bool fits_readings(const struct tt_row *row, int readings)
{
    struct tt_span span;
    const char *other;
    return readings == ANY_READING || tt_row_reread(row, &span, &other) == (readings == WITH_OTHER);
}

/* Shown by the script, which gathers them in the changes file. */
static void add_answers(struct tt_text *out, const struct tt_take_report *take, const struct tt_row *row, size_t number)
{
    tt_text_add(out, "<span class=\"answer no-print\" role=\"group\" hidden aria-label=\"Answer for ");
    tt_html_text(out, take->name);
    tt_text_add(out, " at ");
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_add(out, "\"><span class=\"quiet\">Answer</span> ");
    for (size_t i = 0; i < sizeof answers / sizeof *answers; i++) {
        if (answers[i].kind != row->kind || !fits_readings(row, answers[i].readings) ||
            (answers[i].action == TT_DO_SOFTEN && !isfinite(row->amount)))
            continue;
        tt_text_addf(
            out, "<button type=\"button\" aria-pressed=\"false\" data-answer=\"%zu\" data-action=\"%s\">%s</button> ",
            number, tt_row_action_name(answers[i].action), answers[i].words);
    }
    tt_text_add(out, "</span>");
}

static void add_question_sounds(struct tt_text *out, const struct tt_session_report *session,
                                const struct tt_take_report *take, const struct tt_row *row)
{
    struct tt_span this = {row->start_ms, row->end_ms};
    struct tt_sound_part part;
    tt_text_add(out, "<span class=\"sounds no-print\"><span class=\"quiet\">Hear</span> ");
    tt_sound_span_button(out, session, take, this, 0, "", "this part");
    if (row->kind == TT_ROW_MISREAD)
        tt_sound_other_button(out, session, take, row, "the other reading");
    tt_sound_span_button(out, session, take, this, TT_AROUND_S, "", "before");
    if (tt_sound_part_find(take, this, TT_AROUND_S, &part)) {
        part.has_hole = true;
        tt_sound_button(out, session, take, &part, "", "after, if it is cut");
    }
    tt_text_add(out, "</span>");
}

static void add_question(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                         const struct tt_take_report *take, size_t index)
{
    const struct tt_row *row = &take->sheet->rows[index];
    tt_text_add(out, "<li>");
    tt_kind_mark(out, row->kind);
    tt_text_add(out, "<strong>");
    tt_html_name(out, take->name);
    tt_text_add(out, "</strong> at ");
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_addf(out, ", %s", tt_row_kind_name(row->kind));
    tt_row_sure(out, row);
    tt_text_add(out, ". ");
    tt_row_words(out, session, take, row);
    add_question_sounds(out, session, take, row);
    add_answers(out, take, row, tt_page_rows_add(rows, take, row));
    add_sheet_line(out, take, index);
    tt_text_add(out, "</li>\n");
}

void tt_session_questions(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session)
{
    size_t count = 0;
    for (size_t i = 0; i < session->take_count; i++)
        count += tt_report_questions(&session->takes[i]);
    tt_text_add(out, "<h3 id=\"open\">Not ready: ");
    tt_html_count(out, count, "question");
    tt_text_add(out, count == 1 ? " is open</h3>\n" : " are open</h3>\n");
    tt_text_add(out,
                "<p>What is asked about is still in; where something may have been read twice, both readings are. ");
    tt_text_addf(out,
                 "A wanted line may be said twice: under %.0f&#8239;%% certainty it asks. <span id=\"left\" "
                 "role=\"status\"></span></p>\n<ol id=\"questions\">\n",
                 100 * session->settings->misreads.confidence);
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        for (size_t k = 0; !take->has_failed && take->is_heard && k < take->sheet->count; k++)
            if (take->sheet->rows[k].action == TT_DO_ASK)
                add_question(out, rows, session, take, k);
    }
    tt_text_add(out, "</ol>\n");
    tt_page_not_printed(out, count, MOST_QUESTIONS_PRINTED, "question");
    tt_page_changes(out, session);
    tt_text_add(out, "<p class=\"quiet\">Or change <code>ask</code> in the sheets to <code>cut</code> or "
                     "<code>keep</code>, save, and run the same command again:</p>\n<pre>");
    tt_page_command(out, session, false);
    tt_text_add(out, "</pre>\n");
}
