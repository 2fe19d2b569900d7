/* SPDX-License-Identifier: GPL-2.0-or-later */
/* DIR/index.html: any two recordings of one reading, side by side. */
#include <math.h>
#include <string.h>

#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"
#include "report/totals.h"

static double found_s(const struct tt_time_map *map)
{
    double samples = 0;
    for (size_t i = 0; i < map->count; i++)
        samples += (double)(map->stretches[i].source_end - map->stretches[i].source_start);
    return samples / map->rate_hz;
}

static void add_lead(struct tt_text *out, const struct tt_take_report *take)
{
    tt_text_add(out, "<header>\n<h1>");
    tt_html_name(out, take->name);
    if (strcmp(take->name, take->comparison->after_name) == 0) {
        tt_text_add(out, ", before and after");
    } else {
        tt_text_add(out, " and ");
        tt_html_name(out, take->comparison->after_name);
    }
    tt_text_add(out, "</h1>\n<p class=\"lead\">");
    tt_html_length(out, tt_take_before_s(take));
    tt_text_add(out, " before, ");
    tt_html_length(out, tt_take_after_s(take));
    tt_text_add(out, " after; ");
    tt_html_length(out, found_s(take->map));
    tt_text_add(out, " are in both.</p>\n</header>\n<main>\n");
}

static void add_fit(struct tt_text *out, const struct tt_take_report *take)
{
    const struct tt_comparison *c = take->comparison;
    tt_text_add(out, "<section class=\"todo\" aria-labelledby=\"fit\">\n<h2 id=\"fit\">How sure it is that they belong "
                     "together</h2>\n<ul>\n");
    tt_text_addf(out,
                 "<li>Of the %zu seconds with speech after, %zu were found before; the waveforms are alike to "
                 "%.0f\xC2\xA0%% there.</li>\n",
                 c->heard_s, c->found_s, 100 * c->likeness);
    if (take->map->count > 1) {
        tt_text_addf(out,
                     "<li>They lie in %zu pieces: in between something was taken out or put in, or the clocks of two "
                     "recorders came apart.</li>\n",
                     take->map->count);
    } else if (take->map->count == 1) {
        double lag_s =
            (double)(take->map->stretches[0].source_start - take->map->stretches[0].out_start) / take->map->rate_hz;
        tt_text_addf(out, "<li>After begins %.4f\xC2\xA0s %s before.</li>\n", fabs(lag_s),
                     lag_s < 0 ? "ahead of" : "behind");
    }
    if (c->is_turned)
        tt_text_add(out, "<li>The polarity of one of them is turned. Alone it sounds the same; together they would "
                         "cancel out.</li>\n");
    tt_text_add(out, "</ul>\n</section>\n");
}

static void add_recording(struct tt_text *out, const char *what, const char *path, int rate_hz, int channel_count)
{
    tt_text_addf(out, "<p>%s: <code>", what);
    tt_html_name(out, path);
    tt_text_addf(out, "</code>, %d\xC2\xA0Hz, ", rate_hz);
    tt_html_count(out, (size_t)channel_count, "channel");
    tt_text_add(out, "</p>\n");
}

static void add_body(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                     const struct tt_page_loudness *loudness)
{
    tt_kind_symbols(out);
    add_lead(out, take);
    add_fit(out, take);
    if (take->play_before || take->play_after)
        tt_take_listening(out, session->out_folder, take, loudness);
    tt_take_picture(out, session, take);
    tt_take_view(out, take);
    tt_take_decisions(out, session, take);
    tt_text_add(out,
                "<div class=\"beside\">\n<section aria-labelledby=\"figures\">\n<h2 id=\"figures\">Figures</h2>\n");
    tt_take_figures_table(out, take);
    tt_text_add(out, "</section>\n");
    tt_take_charts(out, session, take);
    tt_text_add(out, "</div>\n<section aria-labelledby=\"details\">\n<h2 id=\"details\">The recordings</h2>\n");
    add_recording(out, "Before", take->source_path, take->heard->facts.rate_hz, take->heard->facts.channel_count);
    add_recording(out, "After", take->comparison->after_path, take->comparison->after_rate_hz,
                  take->comparison->after_channel_count);
    tt_text_add(out, "</section>\n</main>\n");
    tt_page_footer(out, session);
}

bool tt_report_compare_page(const struct tt_session_report *session, const struct tt_take_report *take,
                            struct tt_text *out, struct tt_error *err)
{
    static const char *const *const scripts[] = {tt_script_common, tt_script_take, tt_script_blind, tt_script_view,
                                                 NULL};
    struct tt_page_head head = {take->name, tt_page_style, scripts};
    struct tt_page_loudness loudness;
    struct tt_text data = {0};
    bool ok = tt_html_open(out, &head, err) && tt_page_loudness_of(take, &loudness, err);
    if (ok)
        add_body(out, session, take, &loudness);
    ok = ok && tt_take_data(&data, take, &loudness);
    if (ok)
        tt_html_close(out, &head, data.data);
    ok = ok && !data.has_failed && !out->has_failed;
    tt_text_free(&data);
    return ok || tt_fail_memory(err);
}
