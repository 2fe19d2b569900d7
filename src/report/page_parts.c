/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/loudness.h"
#include "report/html.h"
#include "report/page.h"
#include "sheet/landing.h"
#include "sheet/sheet_rows.h"

static const double two_alike_lu = 3.0102999566398120; /* 10 log10(2): BS.1770-5 sums the power of channels */

const char *tt_page_sound_ending(const struct tt_session_report *session)
{
    return session->settings->deliver.format == TT_CONTAINER_FLAC ? ".flac" : ".wav";
}

/* SESSION.tidy beside the session needs no -o. */
static bool is_usual_place(const struct tt_session_report *session)
{
    size_t length = strlen(session->source_folder);
    return strncmp(session->out_folder, session->source_folder, length) == 0 &&
           strcmp(session->out_folder + length, ".tidy") == 0;
}

void tt_page_command(struct tt_text *out, const struct tt_session_report *session, bool has_changes)
{
    bool is_usual = is_usual_place(session), is_single = !is_usual && session->take_count == 1;
    tt_text_add(out, "<code>tidytake clean ");
    tt_html_shell_word(out, is_single ? session->takes[0].source_path : session->source_folder);
    if (!is_usual) {
        tt_text_add(out, " -o ");
        tt_html_shell_word(out, session->out_folder);
    }
    if (session->target) {
        tt_text_add(out, " --for ");
        tt_html_shell_word(out, session->target);
    }
    if (has_changes)
        tt_text_add(out, " --changes <span id=\"change-file\"></span>");
    tt_text_add(out, "</code>");
}

void tt_take_link(struct tt_text *out, const struct tt_take_report *take)
{
    tt_text_add(out, "<a href=\"report/");
    tt_html_url(out, take->stem);
    tt_text_add(out, ".html\">");
    tt_html_name(out, take->name);
    tt_text_add(out, "</a>");
}

void tt_page_removed(struct tt_text *out, const struct tt_removed *removed)
{
    static const char *const nouns[TT_ROW_KINDS] = {
        [TT_ROW_MISREAD] = "misread", [TT_ROW_TALK] = "piece",  [TT_ROW_PAUSE] = "pause",
        [TT_ROW_BREATH] = "breath",   [TT_ROW_CLICK] = "click", [TT_ROW_NOISE] = "noise",
        [TT_ROW_OTHER] = "other part"};
    bool has_any = false;
    for (int kind = 0; kind < TT_ROW_KINDS; kind++) {
        size_t count = removed->by_kind[kind].count;
        if (count == 0 || !nouns[kind])
            continue;
        if (has_any)
            tt_text_add(out, ", ");
        tt_html_count(out, count, nouns[kind]);
        if (kind == TT_ROW_TALK)
            tt_text_add(out, " of talk");
        if (kind == TT_ROW_PAUSE)
            tt_text_add(out, " made shorter");
        tt_text_add(out, "\xC2\xA0(");
        tt_html_length(out, removed->by_kind[kind].seconds);
        tt_text_add(out, ")");
        has_any = true;
    }
    if (!has_any)
        tt_text_add(out, "nothing");
}

void tt_page_level_control(struct tt_text *out)
{
    tt_text_add(out, "<label>Level <input type=\"range\" id=\"level\" min=\"0\" max=\"100\" value=\"40\"></label>\n");
}

void tt_page_caution(struct tt_text *out)
{
    tt_text_add(out, "<p class=\"quiet\">With headphones: begin low and turn up only as far as you need. Sound that is "
                     "loud for long harms hearing for good "
                     "(ITU-T H.870 gives the dose that is safe in a week).</p>\n");
}

void tt_page_footer(struct tt_text *out, const struct tt_session_report *session)
{
    tt_text_add(out, "<footer id=\"run\" data-session=\"");
    tt_html_text(out, session->out_folder);
    tt_text_addf(out,
                 "\" data-sheets=\"%s\"><p>Written by tidytake. This page asks for nothing from the network, and the "
                 "recordings were only read.</p></footer>\n",
                 session->sheets_sha256);
}

void tt_page_not_printed(struct tt_text *out, size_t count, size_t printed, const char *what)
{
    if (count <= printed)
        return;
    tt_text_add(out, "<p class=\"print-only\">");
    tt_html_count(out, count - printed, what);
    tt_text_add(out, " more on the page itself.</p>\n");
}

void tt_page_changes(struct tt_text *out, const struct tt_session_report *session)
{
    tt_text_add(out, "<section class=\"changes no-print\" id=\"changes\" aria-labelledby=\"changed\" hidden>\n<h3 "
                     "id=\"changed\" role=\"status\" tabindex=\"-1\"></h3>\n"
                     "<ul id=\"change-list\"></ul>\n<p><button type=\"button\" class=\"big\" id=\"save\">Save the "
                     "changes file</button> "
                     "for all takes together. Then, in the folder that it was saved to:</p>\n<pre>");
    tt_page_command(out, session, true);
    tt_text_add(out, "</pre>\n</section>\n");
}

/* Actions that a click can give: those that need an amount only where there is one. A question is answered, not put. */
static void add_choices(struct tt_text *out, const struct tt_row *row)
{
    bool has_any = false;
    tt_text_add(out, ",\"may\":[");
    for (int action = 0; action < TT_DO_ACTIONS; action++) {
        enum tt_row_action one = (enum tt_row_action)action;
        bool has_amount = one == TT_DO_SHORTEN || one == TT_DO_SOFTEN || one == TT_DO_OPEN;
        bool is_offered = one == row->action ||
                          (tt_row_allows(row->kind, one) && one != TT_DO_ASK && (!has_amount || isfinite(row->amount)));
        if (!is_offered)
            continue;
        tt_text_addf(out, "%s\"%s\"", has_any ? "," : "", tt_row_action_name(one));
        has_any = true;
    }
    tt_text_add(out, "]");
}

void tt_page_row_data(struct tt_text *out, const struct tt_take_report *take, const struct tt_row *row)
{
    struct tt_landing landing = {0};
    char amount[64];
    if (take->map->count > 0)
        landing = tt_landing_of_row(row, take->map);
    row_amount_format(row, amount, sizeof amount);
    tt_text_addf(out, "{\"s\":%lld,\"e\":%lld,\"os\":", (long long)row->start_ms, (long long)row->end_ms);
    tt_html_exact(out, (double)landing.start / take->map->rate_hz, 3);
    tt_text_add(out, ",\"oe\":");
    tt_html_exact(out, (double)landing.end / take->map->rate_hz, 3);
    tt_text_addf(out, ",\"kind\":\"%s\",\"proposed\":\"%s\",\"action\":\"%s\",\"amount\":\"%s\",\"sure\":",
                 tt_row_kind_name(row->kind), tt_row_action_name(row->proposed), tt_row_action_name(row->action),
                 amount);
    if (isfinite(row->confidence))
        tt_html_exact(out, row->confidence, 2);
    else
        tt_text_add(out, "null");
    tt_text_add(out, ",\"id\":");
    tt_html_json_string(out, row->id);
    tt_text_add(out, ",\"note\":");
    tt_html_json_string(out, row->note);
    add_choices(out, row);
    tt_text_add(out, "}");
}

size_t tt_page_rows_add(struct tt_page_rows *rows, const struct tt_take_report *take, const struct tt_row *row)
{
    struct tt_text object = {0};
    tt_page_row_data(&object, take, row);
    tt_text_add(&rows->text, rows->count > 0 ? ",\n{\"take\":" : "{\"take\":");
    tt_html_json_string(&rows->text, take->name);
    tt_text_add(&rows->text, ",");
    if (object.has_failed)
        rows->text.has_failed = true;
    else
        tt_text_add(&rows->text, object.data + 1); /* the rest of the object */
    tt_text_free(&object);
    return rows->count++;
}

/* Gated loudness of the part of the take that is in the voice. */
static bool loudness_of_kept(const struct tt_take_report *take, double *lufs, struct tt_error *err)
{
    const struct tt_heard *heard = take->heard;
    float *kept = malloc((heard->step_count + 1) * sizeof *kept);
    if (!kept)
        return tt_fail_memory(err);
    size_t count = 0;
    for (size_t i = 0; i < heard->step_count; i++) {
        double middle = ((double)i + 0.5) * TT_HEARD_STEP_MS / 1000 * take->map->rate_hz;
        if (tt_time_map_to_out(take->map, (int64_t)middle) >= 0)
            kept[count++] = heard->steps[i];
    }
    *lufs = tt_loudness_of_steps(kept, count, 1);
    free(kept);
    return true;
}

bool tt_page_loudness_of(const struct tt_take_report *take, struct tt_page_loudness *loudness, struct tt_error *err)
{
    *loudness = (struct tt_page_loudness){NAN, NAN};
    if (!take->has_voice || !take->is_heard)
        return true;
    if (!loudness_of_kept(take, &loudness->before_lufs, err))
        return false;
    /* Where the voice is in one of several channels, it comes from one side. */
    if (take->source_channel_count == 1 || take->heard->facts.channel < 0 || take->has_copy)
        loudness->before_lufs += two_alike_lu;
    loudness->before_lufs += take->copy_gain_db;
    bool is_one_sided = take->comparison && take->comparison->is_one_sided;
    loudness->after_lufs =
        take->after.levels.integrated_lufs + (take->out_channel_count == 1 && !is_one_sided ? two_alike_lu : 0);
    return true;
}
