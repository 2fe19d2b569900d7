/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Lists of the session's page that can be heard: open questions, and what was removed. */
#include <math.h>
#include <stdlib.h>

#include "base/units.h"
#include "report/html.h"
#include "report/kinds.h"
#include "report/landing.h"
#include "report/page.h"
#include "sheet/sheet_rows.h"

static const double around_s = 2;        /* heard before and after a part in its context */
enum { MOST_LISTED = 200 };              /* the rest is in the takes' pages */

/* A button that plays part of a file; url, from and to are all that the script needs. */
struct part { bool is_voice; double from_s, to_s; };

static void add_button(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take, const struct part *part, const char *label)
{
    tt_text_add(out, "<button type=\"button\" aria-pressed=\"false\" data-src=\"");
    if (part->is_voice) {
        tt_text_add(out, "voice/");
        tt_html_url(out, take->stem);
        tt_text_add(out, tt_page_sound_ending(session));
    } else {
        tt_html_relative_url(out, session->out_folder, take->source_path);
    }
    tt_text_add(out, "\" data-from=\"");
    tt_html_exact(out, fmax(part->from_s, 0), 3);
    tt_text_add(out, "\" data-to=\"");
    tt_html_exact(out, fmax(part->to_s, 0), 3);
    tt_text_add(out, "\" data-name=\"");
    tt_html_text(out, take->name);
    tt_text_addf(out, ", %s\">%s</button> ", label, label);
}

/* Out of the take where browsers can play it, else out of the voice: what is asked about is still in there. False when neither plays. */
static bool find_part(const struct tt_session_report *session, const struct tt_take_report *take, struct tt_span span, double around, struct part *part)
{
    *part = (struct part){ false, (double)span.start_ms / 1000 - around, (double)span.end_ms / 1000 + around };
    if (take->plays_in_browser) return true;
    if (!take->has_voice || !tt_page_voice_plays(session)) return false;
    const struct tt_time_map *map = take->map;
    int64_t start = tt_time_map_nearest_out(map, tt_frames_from_ms((double)span.start_ms, map->rate_hz));
    int64_t end = tt_time_map_nearest_out(map, tt_frames_from_ms((double)span.end_ms, map->rate_hz));
    *part = (struct part){ true, (double)start / map->rate_hz - around, (double)end / map->rate_hz + around };
    return true;
}

static void add_span_button(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take, struct tt_span span, double around,
                            const char *label)
{
    struct part part;
    if (find_part(session, take, span, around, &part)) add_button(out, session, take, &part, label);
}

/* ---- questions ---- */

static void add_sheet_line(struct tt_text *out, const struct tt_take_report *take, size_t index)
{
    const struct tt_row *row = &take->sheet->rows[index];
    char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
    tt_time_format(row->start_ms, start);
    tt_time_format(row->end_ms, end);
    tt_text_add(out, "<br>To answer: in <a href=\"sheets/");
    tt_html_url(out, take->stem);
    tt_text_add(out, ".csv\"><code>sheets/");
    tt_html_name(out, take->stem);
    tt_text_addf(out, ".csv</code></a>, line %zu (<code>", tt_row_line(take->sheet, index));
    tt_html_text(out, row->id);
    tt_text_addf(out, "</code>, %s to %s), change <code>ask</code> to <code>cut</code> or <code>keep</code>.", start, end);
}

static void add_question(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take, size_t index)
{
    const struct tt_row *row = &take->sheet->rows[index];
    struct tt_span this = { row->start_ms, row->end_ms }, again;
    tt_text_add(out, "<li>");
    tt_kind_mark(out, row->kind);
    tt_text_add(out, "<strong>");
    tt_html_name(out, take->name);
    tt_text_add(out, "</strong> at ");
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_addf(out, ", %s", tt_row_kind_name(row->kind));
    if (isfinite(row->confidence)) tt_text_addf(out, ", %lld\xC2\xA0%% sure", llround(floor(row->confidence * 100 + 1e-9)));
    tt_text_add(out, ". ");
    tt_row_words(out, row);
    tt_text_add(out, "<br>");
    add_span_button(out, session, take, this, 0, "hear this part");
    if (row->kind == TT_ROW_MISREAD && row_read_again(row, &again)) add_span_button(out, session, take, again, 0, "hear the second reading");
    add_span_button(out, session, take, this, around_s, "hear it in context");
    add_sheet_line(out, take, index);
    tt_text_add(out, "</li>\n");
}

void tt_session_questions(struct tt_text *out, const struct tt_session_report *session)
{
    size_t count = 0;
    for (size_t i = 0; i < session->take_count; i++) count += tt_report_questions(&session->takes[i]);
    tt_text_add(out, "<h3>Not ready: ");
    tt_html_count(out, count, "question");
    tt_text_add(out, count == 1 ? " is open</h3>\n" : " are open</h3>\n");
    tt_text_add(out, "<p>What they ask about is still in; where something may have been read twice, both readings are.</p>\n<ul>\n");
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        if (take->has_failed || !take->is_heard) continue;
        for (size_t k = 0; k < take->sheet->count; k++)
            if (take->sheet->rows[k].action == TT_DO_ASK) add_question(out, session, take, k);
    }
    tt_text_add(out, "</ul>\n<p>Then run the same command again:</p>\n<pre>");
    tt_page_command(out, session, NULL);
    tt_text_add(out, "</pre>\n");
}

/* ---- what was removed ---- */

struct removed_part { const struct tt_take_report *take; const struct tt_row *row; struct tt_span span; size_t order; };

static int longest_first(const void *a, const void *b)
{
    const struct removed_part *left = a, *right = b;
    int64_t by = (right->span.end_ms - right->span.start_ms) - (left->span.end_ms - left->span.start_ms);
    if (by != 0) return by < 0 ? -1 : 1;
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
            if (row->kind == TT_ROW_PAUSE || row->kind == TT_ROW_BREATH || !tt_row_removes(row, &span) || span.end_ms <= span.start_ms) continue;
            if (parts) parts[count] = (struct removed_part){ take, row, span, count };
            count++;
        }
    }
    return count;
}

static void add_removed_part(struct tt_text *out, const struct tt_session_report *session, const struct removed_part *part)
{
    tt_text_add(out, "<li>");
    tt_kind_mark(out, part->row->kind);
    tt_html_length(out, (double)(part->span.end_ms - part->span.start_ms) / 1000);
    tt_text_addf(out, ", %s, <a href=\"report/", tt_row_kind_name(part->row->kind));
    tt_html_url(out, part->take->stem);
    tt_text_add(out, ".html\">");
    tt_html_name(out, part->take->name);
    tt_text_add(out, "</a> at ");
    tt_html_clock(out, (double)part->span.start_ms / 1000);
    tt_text_add(out, " ");
    if (part->take->plays_in_browser) add_span_button(out, session, part->take, part->span, 0, "hear it");
    tt_text_add(out, "</li>\n");
}

bool tt_session_removed_list(struct tt_text *out, const struct tt_session_report *session, struct tt_error *err)
{
    size_t count = gather(session, NULL);
    if (count == 0) return true;
    struct removed_part *parts = malloc(count * sizeof *parts);
    if (!parts) return tt_fail_memory(err);
    gather(session, parts);
    qsort(parts, count, sizeof *parts, longest_first);
    tt_text_add(out, "<p class=\"no-print\"><button type=\"button\" data-all=\"removed-list\" aria-pressed=\"false\">Hear all of this in a row</button> longest first; "
                     "<kbd>Esc</kbd> stops.</p>\n<ol id=\"removed-list\">\n");
    for (size_t i = 0; i < count && i < MOST_LISTED; i++) add_removed_part(out, session, &parts[i]);
    tt_text_add(out, "</ol>\n");
    if (count > MOST_LISTED) tt_text_addf(out, "<p>%zu shorter parts are in the pages of their takes.</p>\n", count - MOST_LISTED);
    free(parts);
    return true;
}
