/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The decisions of a take: as a table to read and hear, and as data for the page's script. */
#include <math.h>

#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"
#include "report/removed.h"
#include "report/totals.h"

enum { MS_DECIMALS = 3, MAP_DECIMALS = 6 };
enum { MOST_PRINTED = 24 };  /* rows on paper */
enum { MOST_AT_ONCE = 100 }; /* rows in the page; the script brings the others as they are asked for */

/* ---- table ---- */

/* One button a kind: legend, count and filter in one. */
static void add_kinds(struct tt_text *out, const struct tt_sheet *sheet)
{
    for (int kind = 0; kind < TT_ROW_KINDS; kind++) {
        size_t count = 0;
        for (size_t i = 0; i < sheet->count; i++)
            count += sheet->rows[i].kind == (enum tt_row_kind)kind;
        if (count == 0)
            continue;
        const char *name = tt_row_kind_name((enum tt_row_kind)kind);
        tt_text_addf(out, "<button type=\"button\" data-kind=\"%s\" aria-pressed=\"true\">", name);
        tt_kind_mark(out, (enum tt_row_kind)kind);
        tt_text_addf(out, "%s %zu</button>\n", name, count);
    }
}

static void add_tools(struct tt_text *out, const struct tt_sheet *sheet)
{
    tt_text_add(out, "<div class=\"tools\" id=\"tools\" hidden>\n<span role=\"group\" class=\"tools\" "
                     "aria-label=\"Kinds that are shown\">");
    add_kinds(out, sheet);
    tt_text_add(out, "</span>\n<label>Order <select id=\"order\"><option value=\"time\">by time</option><option "
                     "value=\"long\">longest first</option>"
                     "<option value=\"unsure\">least sure first</option></select></label>\n"
                     "<label>Find <input type=\"search\" id=\"search\" size=\"12\"></label>\n<span id=\"shown\" "
                     "class=\"quiet\" role=\"status\"></span>\n</div>\n");
}

static void add_button(struct tt_text *out, const char *what, const char *label, const struct tt_row *row,
                       const char *name)
{
    tt_text_addf(out, "<button type=\"button\" data-do=\"%s\" aria-label=\"%s: %s at ", what, name,
                 tt_row_kind_name(row->kind));
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_addf(out, "\">%s</button> ", label);
}

static void add_buttons(struct tt_text *out, const struct tt_take_report *take, const struct tt_row *row,
                        bool has_before, bool has_after)
{
    struct tt_span gone;
    bool has_part = has_before && row->end_ms > row->start_ms &&
                    !(take->lacks_removed && row->kind != TT_ROW_PAUSE && tt_row_removes(row, &gone));
    tt_text_add(out, "<td class=\"plays\">");
    if (has_before)
        add_button(out, "before", "before", row, "before, with two seconds around it");
    if (has_after)
        add_button(out, "after", "after", row, "after, with two seconds around it");
    if (has_part)
        add_button(out, "only", "this part", row, "this part of the take alone");
    tt_text_add(out, "</td>");
}

static void add_change(struct tt_text *out, const struct tt_row *row)
{
    tt_text_addf(out, " <button type=\"button\" data-change hidden aria-label=\"change the %s at ",
                 tt_row_kind_name(row->kind));
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_add(out, "\">change</button>");
}

static void add_action(struct tt_text *out, const struct tt_row *row, bool is_compared)
{
    bool is_asked = row->action == TT_DO_ASK;
    tt_text_add(out, is_asked ? "<td><span class=\"act\"><strong>" : "<td><span class=\"act\"><span>");
    tt_row_done(out, row);
    tt_text_add(out, is_asked ? "</strong>" : "</span>");
    if (!is_compared)
        add_change(out, row);
    tt_text_add(out, "</span>");
    if (row->is_persons) {
        tt_text_add(out, " <span class=\"note\">by you");
        if (row->proposed != row->action)
            tt_text_addf(out, "; proposed: %s", tt_row_action_name(row->proposed));
        tt_text_add(out, "</span>");
    }
    tt_text_add(out, "</td>");
}

/* Paper gets all of a short table, and of a long one what a person would want to see again: no pauses, breaths or
 * clicks that are not asked about. */
static bool is_printed(const struct tt_sheet *sheet, size_t index, size_t *printed)
{
    const struct tt_row *row = &sheet->rows[index];
    bool is_minor = row->action != TT_DO_ASK &&
                    (row->kind == TT_ROW_PAUSE || row->kind == TT_ROW_BREATH || row->kind == TT_ROW_CLICK);
    if (*printed >= MOST_PRINTED || (sheet->count > MOST_PRINTED && is_minor))
        return false;
    ++*printed;
    return true;
}

static void add_row(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                    size_t index, bool has_before, bool has_after, size_t *printed)
{
    const struct tt_row *row = &take->sheet->rows[index];
    tt_text_addf(out, "<tr%s data-row=\"%zu\"><td class=\"t\">",
                 is_printed(take->sheet, index, printed) ? " class=\"p\"" : "", index);
    tt_html_clock(out, (double)row->start_ms / 1000);
    tt_text_add(out, "</td><td class=\"n\">");
    if (row->end_ms > row->start_ms)
        tt_html_length(out, (double)(row->end_ms - row->start_ms) / 1000);
    tt_text_add(out, "</td><th scope=\"row\" class=\"t\">");
    tt_kind_mark(out, row->kind);
    tt_text_addf(out, "%s</th>", tt_row_kind_name(row->kind));
    add_action(out, row, take->comparison != NULL);
    tt_text_add(out, "<td class=\"n\">");
    if (isfinite(row->confidence))
        tt_text_addf(out, "%lld\xC2\xA0%%", llround(floor(row->confidence * 100 + 1e-9)));
    tt_text_add(out, "</td><td>");
    if (take->comparison)
        tt_text_add(out, "Before only: after goes on without it.");
    else
        tt_row_words(out, session, take, row);
    tt_text_add(out, "</td>");
    if (has_before || has_after)
        add_buttons(out, take, row, has_before, has_after);
    tt_text_add(out, "</tr>\n");
}

static void add_undo(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    tt_text_add(out, "<h3>To take a decision back</h3>\n<p class=\"no-print\">Press \xE2\x80\x9C"
                     "change\xE2\x80\x9D in its row, choose, and save the file of changes that is then "
                     "offered: the line to run stands below it. Your own decisions stay through every later "
                     "run.</p>\n<p>With a text editor or a spreadsheet: in <code>sheets/");
    tt_html_name(out, take->stem);
    tt_text_add(out, ".csv</code>, change the row\xE2\x80\x99s action (<code>cut</code> to <code>keep</code>, say), "
                     "save, and run the same command again:</p>\n<pre>");
    tt_page_command(out, session, false);
    tt_text_add(out, "</pre>\n");
}

void tt_take_decisions(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    const struct tt_sheet *sheet = take->sheet;
    bool has_before = take->play_before != NULL, has_after = take->play_after != NULL;
    size_t printed = 0;
    tt_text_addf(out, "<section aria-labelledby=\"decisions\">\n<h2 id=\"decisions\">%s</h2>\n",
                 take->comparison ? "What is not in after" : "Decisions");
    if (sheet->count == 0) {
        tt_text_add(out, take->comparison ? "<p>Nothing: all of before is in it.</p>\n</section>\n"
                                          : "<p>None: nothing was taken out, shortened or softened.</p>\n</section>\n");
        return;
    }
    add_tools(out, sheet);
    tt_text_add(out, "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table of decisions\"><table "
                     "class=\"decisions\">\n<thead><tr><th scope=\"col\">At</th>"
                     "<th scope=\"col\" class=\"n\">Length</th><th scope=\"col\">Kind</th><th "
                     "scope=\"col\">Action</th><th scope=\"col\" class=\"n\">How sure</th>"
                     "<th scope=\"col\">Why</th>");
    if (has_before || has_after)
        tt_text_add(out, "<th scope=\"col\" class=\"plays\">Hear</th>");
    tt_text_add(out, "</tr></thead>\n<tbody id=\"rows\">\n");
    for (size_t i = 0; i < sheet->count && i < MOST_AT_ONCE; i++)
        add_row(out, session, take, i, has_before, has_after, &printed);
    tt_text_add(out, "</tbody></table></div>\n");
    if (sheet->count > MOST_AT_ONCE) { /* text, of which a browser makes rows when they are wanted */
        tt_text_add(out, "<script type=\"text/plain\" id=\"more-rows\">\n");
        for (size_t i = MOST_AT_ONCE; i < sheet->count; i++)
            add_row(out, session, take, i, has_before, has_after, &printed);
        tt_text_add(
            out, "</script>\n<p class=\"no-print\"><button type=\"button\" id=\"more\" hidden>Show more</button></p>\n"
                 "<noscript><p>The rest is in the sheet.</p></noscript>\n");
    }
    if (sheet->count > printed) {
        tt_text_add(out, "<p class=\"print-only\">");
        tt_html_count(out, sheet->count - printed, "decision");
        tt_text_add(out, " more on the page itself and in the sheet.</p>\n");
    }
    if (!take->comparison) {
        tt_page_changes(out, session);
        add_undo(out, session, take);
    }
    tt_text_add(out, "</section>\n");
}

/* ---- data ---- */

static void add_map(struct tt_text *out, const struct tt_time_map *map)
{
    tt_text_add(out, "\"map\":[");
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        const int64_t samples[3] = {stretch->source_start, stretch->source_end, stretch->out_start};
        for (int k = 0; k < 3; k++) {
            tt_text_add(out, k > 0 ? "," : i > 0 ? ",[" : "[");
            tt_html_exact(out, (double)samples[k] / map->rate_hz, MAP_DECIMALS);
        }
        tt_text_add(out, "]");
    }
    tt_text_add(out, "]");
}

/* Seconds a column of a spectrogram: eight hops (pipeline/picture.h). */
static double column_s(int rate_hz) { return 8.0 * tt_stft_shape_for(rate_hz).hop_samples / rate_hz; }

bool tt_take_data(struct tt_text *out, const struct tt_take_report *take, const struct tt_page_loudness *loudness)
{
    tt_text_add(out, "{\"take\":");
    tt_html_json_string(out, take->name);
    tt_text_add(out, ",\"length\":");
    tt_html_exact(out, tt_take_before_s(take), MS_DECIMALS);
    bool is_known = isfinite(loudness->before_lufs) && isfinite(loudness->after_lufs);
    tt_text_add(out, ",\"lufs\":{\"before\":");
    tt_html_exact(out, is_known ? loudness->before_lufs : 0, MS_DECIMALS);
    tt_text_add(out, ",\"after\":");
    tt_html_exact(out, is_known ? loudness->after_lufs : 0, MS_DECIMALS);
    tt_text_add(out, "},");
    if (take->has_pictures) {
        tt_text_add(out, "\"pictures\":{\"at\":\"");
        tt_html_url(out, take->stem);
        tt_text_add(out, "/\",\"column_s\":{\"before\":");
        tt_html_exact(out, column_s(take->heard->facts.rate_hz), 6);
        tt_text_add(out, ",\"after\":");
        tt_html_exact(out, column_s(take->out_rate_hz > 0 ? take->out_rate_hz : take->heard->facts.rate_hz), 6);
        tt_text_add(out, "},\"length\":");
        tt_html_exact(out, take->has_voice ? tt_take_after_s(take) : 0, MS_DECIMALS);
        tt_text_add(out, "},");
    }
    add_map(out, take->map);
    tt_text_add(out, ",\n\"rows\":[");
    for (size_t i = 0; i < take->sheet->count; i++) {
        tt_text_add(out, i > 0 ? ",\n" : "\n");
        tt_page_row_data(out, take, &take->sheet->rows[i]);
    }
    tt_text_add(out, "]}");
    return !out->has_failed;
}
