/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Lists of the session's page that can be heard: open questions, and what was removed. */
#include <math.h>
#include <stdlib.h>

#include "base/units.h"
#include "report/html.h"
#include "report/kinds.h"
#include "sheet/landing.h"
#include "report/page.h"
#include "report/stays.h"

static const double around_s = 2; /* heard before and after a part in its context */
enum { MOST_LISTED = 200 };       /* the rest is in the takes' pages */

/* A button that plays part of a file; url, from and to are all that the script needs. */
struct part {
    bool is_voice;
    double from_s, to_s;
    bool has_hole;
}; /* hole: all but what lies around_s from the ends is jumped over */

static void add_button(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                       const struct part *part, const char *style, const char *label)
{
    tt_text_addf(out, "<button type=\"button\"%s aria-pressed=\"false\" data-src=\"", style);
    tt_html_relative_url(out, session->out_folder, part->is_voice ? take->play_after : take->play_before);
    tt_text_add(out, "\" data-from=\"");
    tt_html_exact(out, fmax(part->from_s, 0), 3);
    tt_text_add(out, "\" data-to=\"");
    tt_html_exact(out, fmax(part->to_s, 0), 3);
    if (part->has_hole) {
        tt_text_add(out, "\" data-hole=\"");
        tt_html_exact(out, part->from_s + around_s, 3);
        tt_text_add(out, " ");
        tt_html_exact(out, part->to_s - around_s, 3);
    }
    tt_text_add(out, "\" data-name=\"");
    tt_html_text(out, take->name);
    tt_text_addf(out, ", %s\">%s</button> ", label, label);
}

/* Out of the take where browsers can play it, else out of the voice: what is asked about is still in there. False when
 * neither plays. */
static bool find_part(const struct tt_take_report *take, struct tt_span span, double around, struct part *part)
{
    *part = (struct part){false, (double)span.start_ms / 1000 - around, (double)span.end_ms / 1000 + around, false};
    if (take->play_before)
        return true;
    if (!take->play_after)
        return false;
    const struct tt_time_map *map = take->map;
    int64_t start = tt_time_map_nearest_out(map, tt_frames_from_ms((double)span.start_ms, map->rate_hz));
    int64_t end = tt_time_map_nearest_out(map, tt_frames_from_ms((double)span.end_ms, map->rate_hz));
    *part = (struct part){true, (double)start / map->rate_hz - around, (double)end / map->rate_hz + around, false};
    return true;
}

static void add_span_button(struct tt_text *out, const struct tt_session_report *session,
                            const struct tt_take_report *take, struct tt_span span, double around, const char *style,
                            const char *label)
{
    struct part part;
    if (find_part(take, span, around, &part))
        add_button(out, session, take, &part, style, label);
}

/* Paper gets the first of a long list (page/style.css counts them alike): a summary is two pages. */
enum { MOST_QUESTIONS_PRINTED = 8, MOST_REMOVED_PRINTED = 16 };
static void add_not_printed(struct tt_text *out, size_t count, size_t printed, const char *what)
{
    if (count <= printed)
        return;
    tt_text_add(out, "<p class=\"print-only\">");
    tt_html_count(out, count - printed, what);
    tt_text_add(out, " more on the page itself.</p>\n");
}

/* ---- questions ---- */

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
    struct tt_stays stays;
    struct part part;
    tt_text_add(out, "<span class=\"sounds no-print\"><span class=\"quiet\">Hear</span> ");
    add_span_button(out, session, take, this, 0, "", "this part");
    if (row->kind == TT_ROW_MISREAD && tt_stays_find(session, take, row, &stays) && stays.take && stays.take->is_heard)
        add_span_button(out, session, stays.take, stays.span, 0, "", "the other reading");
    add_span_button(out, session, take, this, around_s, "", "before");
    if (find_part(take, this, around_s, &part)) {
        part.has_hole = true;
        add_button(out, session, take, &part, "", "after, if it is cut");
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
    add_not_printed(out, count, MOST_QUESTIONS_PRINTED, "question");
    tt_page_changes(out, session);
    tt_text_add(out, "<p class=\"quiet\">Or change <code>ask</code> in the sheets to <code>cut</code> or "
                     "<code>keep</code>, save, and run the same command again:</p>\n<pre>");
    tt_page_command(out, session, NULL);
    tt_text_add(out, "</pre>\n");
}

/* ---- what was removed ---- */

struct removed_part {
    const struct tt_take_report *take;
    const struct tt_row *row;
    struct tt_span span;
    size_t order;
};

static int longest_first(const void *a, const void *b)
{
    const struct removed_part *left = a, *right = b;
    int64_t by = (right->span.end_ms - right->span.start_ms) - (left->span.end_ms - left->span.start_ms);
    if (by != 0)
        return by < 0 ? -1 : 1;
    return left->order < right->order ? -1 : left->order > right->order;
}

/* What is worth hearing: pauses and breaths are in the takes' pages. */
static size_t gather(const struct tt_session_report *session, struct removed_part *parts)
{
    size_t count = 0;
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        for (size_t k = 0; !take->has_failed && take->is_heard && k < take->sheet->count; k++) {
            const struct tt_row *row = &take->sheet->rows[k];
            struct tt_span span;
            if (row->kind == TT_ROW_PAUSE || row->kind == TT_ROW_BREATH || !tt_row_removes(row, &span) ||
                span.end_ms <= span.start_ms)
                continue;
            if (parts)
                parts[count] = (struct removed_part){take, row, span, count};
            count++;
        }
    }
    return count;
}

/* How the voice goes on where the part was. */
static void add_join_button(struct tt_text *out, const struct tt_session_report *session,
                            const struct removed_part *part)
{
    const struct tt_time_map *map = part->take->map;
    const struct tt_row gone = {
        .start_ms = part->span.start_ms, .end_ms = part->span.end_ms, .kind = part->row->kind, .action = TT_DO_CUT};
    if (!part->take->play_after || map->count == 0)
        return;
    struct tt_landing landing = tt_landing_of_row(&gone, map);
    struct part join = {true, (double)landing.start / map->rate_hz - around_s,
                        (double)landing.end / map->rate_hz + around_s, false};
    add_button(out, session, part->take, &join, "", "after");
}

/* Shown by the script, as the answers are. Of `choose` the other reading comes back beside the one that was chosen. */
static void add_put_back(struct tt_text *out, const struct removed_part *part, size_t number)
{
    tt_text_addf(out,
                 "<span class=\"answer no-print\" hidden><button type=\"button\" aria-pressed=\"false\" "
                 "data-answer=\"%zu\" data-action=\"keep\" aria-label=\"put it back: ",
                 number);
    tt_html_text(out, part->take->name);
    tt_text_add(out, " at ");
    tt_html_clock(out, (double)part->span.start_ms / 1000);
    tt_text_add(out, "\">put it back</button></span>");
}

static void add_removed_part(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                             const struct removed_part *part)
{
    tt_text_add(out, "<li>");
    tt_kind_mark(out, part->row->kind);
    tt_text_add(out, "<strong>");
    tt_html_length(out, (double)(part->span.end_ms - part->span.start_ms) / 1000);
    tt_text_addf(out, "</strong>, %s", tt_row_kind_name(part->row->kind));
    tt_row_sure(out, part->row);
    tt_text_add(out, ", ");
    tt_take_link(out, part->take);
    tt_text_add(out, " at ");
    tt_html_clock(out, (double)part->span.start_ms / 1000);
    tt_text_add(out, ". ");
    tt_row_words(out, session, part->take, part->row);
    tt_text_add(out, "<span class=\"sounds no-print\"><span class=\"quiet\">Hear</span> ");
    if (part->take->play_before && !part->take->lacks_removed)
        add_span_button(out, session, part->take, part->span, 0, " class=\"gone\"", "this part");
    add_join_button(out, session, part);
    add_put_back(out, part, tt_page_rows_add(rows, part->take, part->row));
    tt_text_add(out, "</span></li>\n");
}

bool tt_session_removed_list(struct tt_text *out, struct tt_page_rows *rows, const struct tt_session_report *session,
                             struct tt_error *err)
{
    size_t count = gather(session, NULL);
    if (count == 0)
        return true;
    struct removed_part *parts = malloc(count * sizeof *parts);
    if (!parts)
        return tt_fail_memory(err);
    gather(session, parts);
    qsort(parts, count, sizeof *parts, longest_first);
    tt_text_add(out,
                "<p class=\"no-print\"><button type=\"button\" data-all=\"removed-list\" aria-pressed=\"false\">Hear "
                "all of this in a row</button> longest first, but for pauses, which are in the pages of the takes; "
                "<kbd>Esc</kbd> stops.</p>\n<ol id=\"removed-list\">\n");
    for (size_t i = 0; i < count && i < MOST_LISTED; i++)
        add_removed_part(out, rows, session, &parts[i]);
    tt_text_add(out, "</ol>\n");
    add_not_printed(out, count < MOST_LISTED ? count : MOST_LISTED, MOST_REMOVED_PRINTED, "shorter part");
    if (count > MOST_LISTED)
        tt_text_addf(out, "<p>%zu shorter parts are in the pages of their takes.</p>\n", count - MOST_LISTED);
    free(parts);
    return true;
}
