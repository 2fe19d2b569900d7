/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The list of what was removed on the session's page, the longest first. */
#include <stdlib.h>

#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"
#include "report/sound_buttons.h"
#include "sheet/landing.h"

enum { MOST_LISTED = 200 }; /* the rest is in the takes' pages */
enum { MOST_REMOVED_PRINTED = 16 };

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
    struct tt_sound_part join = {true, (double)landing.start / map->rate_hz - TT_AROUND_S,
                                 (double)landing.end / map->rate_hz + TT_AROUND_S, false};
    tt_sound_button(out, session, part->take, &join, "", "after");
}

/* Two readings of one line are judged by hearing them in turn. */
static void add_stays_button(struct tt_text *out, const struct tt_session_report *session,
                             const struct removed_part *part)
{
    static const char label[] = "the reading that stays";
    const struct tt_row *row = part->row;
    if (row->action == TT_DO_CHOOSE)
        tt_sound_span_button(out, session, part->take, (struct tt_span){row->start_ms, row->end_ms}, 0, "", label);
    else if (row->kind == TT_ROW_MISREAD)
        tt_sound_other_button(out, session, part->take, row, label);
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
        tt_sound_span_button(out, session, part->take, part->span, 0, " class=\"gone\"", "this part");
    add_stays_button(out, session, part);
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
    tt_page_not_printed(out, count < MOST_LISTED ? count : MOST_LISTED, MOST_REMOVED_PRINTED, "shorter part");
    if (count > MOST_LISTED)
        tt_text_addf(out, "<p>%zu shorter parts are in the pages of their takes.</p>\n", count - MOST_LISTED);
    free(parts);
    return true;
}
