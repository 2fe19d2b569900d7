/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the page of a take and that of a comparison have in common: listening, figures, pictures. */
#include <math.h>

#include "report/chart.h"
#include "report/figure.h"
#include "report/html.h"
#include "report/page.h"
#include "report/palette.h"
#include "report/pauses_heard.h"
#include "report/totals.h"

/* ---- listening ---- */

static void add_sound(struct tt_text *out, const char *page_folder, const char *id, const char *label, const char *path)
{
    tt_text_addf(out, "<audio id=\"%s\" controls preload=\"metadata\" aria-label=\"%s\" src=\"", id, label);
    tt_html_relative_url(out, page_folder, path);
    tt_text_add(out, "\"></audio>\n");
}

static void add_sounds(struct tt_text *out, const char *page_folder, const struct tt_take_report *take)
{
    if (take->play_before)
        add_sound(out, page_folder, "before", "Before", take->play_before);
    else
        tt_text_add(
            out,
            "<p>Browsers cannot play this take\xE2\x80\x99s kind of file, so only its voice can be heard here.</p>\n");
    if (take->lacks_removed)
        tt_text_add(out, "<p>In this copy of the take, what was taken out is silent.</p>\n");
    if (take->play_after)
        add_sound(out, page_folder, "after", "After", take->play_after);
    else if (take->has_voice)
        tt_text_add(out, "<p>Browsers cannot play RF64 files, so the voice cannot be heard here.</p>\n");
}

static void add_match(struct tt_text *out, const struct tt_page_loudness *loudness)
{
    double over = loudness->after_lufs - loudness->before_lufs;
    if (!isfinite(over))
        return;
    tt_text_addf(out, "<label><input type=\"checkbox\" id=\"match\" checked> Equal loudness: %s turned down by ",
                 over < 0 ? "before" : "after");
    tt_html_number(out, fabs(over), 1);
    tt_text_add(out, "\xC2\xA0"
                     "dB</label>\n");
}

static void add_controls(struct tt_text *out, const struct tt_take_report *take,
                         const struct tt_page_loudness *loudness, bool has_both)
{
    tt_text_add(out, "<div class=\"row\"><button type=\"button\" class=\"big\" id=\"play\">Play</button>\n"
                     "<span class=\"pair\" role=\"group\" aria-label=\"What is heard\"><button type=\"button\" "
                     "class=\"big\" id=\"hear-before\" "
                     "aria-pressed=\"false\">Before</button><button type=\"button\" class=\"big\" id=\"hear-after\" "
                     "aria-pressed=\"false\">After</button></span>\n"
                     "<input type=\"range\" id=\"place\" min=\"0\" step=\"0.1\" value=\"0\" aria-label=\"Place in the "
                     "take\" max=\"");
    tt_html_exact(out, tt_take_before_s(take), 1);
    tt_text_add(out, "\"><span id=\"clock\" class=\"quiet\"></span></div>\n<div class=\"row\">");
    tt_page_level_control(out);
    if (has_both)
        add_match(out, loudness);
    tt_text_add(out, "<label><input type=\"checkbox\" id=\"loop\"> Repeat a decision</label>\n"
                     "<label><input type=\"checkbox\" id=\"keys\" checked> Keys</label>\n"
                     "<span id=\"said\" role=\"status\"></span></div>\n");
}

/* Rounds as in the usual tables of the binomial test: 8 to 20 are enough for an answer. */
static void add_blind_test(struct tt_text *out)
{
    tt_text_add(out, "<details id=\"blind\"><summary>Blind test: do you hear a difference?</summary>\n<p>A is before, "
                     "B is after, X is one of the two, by lot, "
                     "at equal loudness. Only what is in both is played, in short passages that repeat. Choose the "
                     "number of rounds first, and finish them.</p>\n"
                     "<div class=\"row\"><label>Rounds <select id=\"rounds\"><option>8</option><option "
                     "selected>10</option><option>16</option><option>20</option>"
                     "</select></label>\n<button type=\"button\" id=\"blind-begin\">Begin</button>\n<span "
                     "class=\"pair\" role=\"group\" aria-label=\"What is heard in the test\">");
    for (const char *name = "abx"; *name; name++)
        tt_text_addf(out, "<button type=\"button\" class=\"big\" id=\"blind-%c\" aria-pressed=\"false\">%c</button>",
                     *name, *name - 'a' + 'A');
    tt_text_add(
        out,
        "</span>\n<span role=\"group\" aria-label=\"Your answer\"><button type=\"button\" id=\"is-a\">X is A</button> "
        "<button type=\"button\" id=\"is-b\">X is B</button></span>\n<button type=\"button\" id=\"blind-stop\">Stop "
        "the test</button></div>\n"
        "<p id=\"blind-said\" role=\"status\"></p></details>\n");
}

void tt_take_listening(struct tt_text *out, const char *page_folder, const struct tt_take_report *take,
                       const struct tt_page_loudness *loudness)
{
    bool has_both = take->play_before && take->play_after;
    tt_text_add(out, "<section aria-labelledby=\"listen\" class=\"no-print\">\n<h2 id=\"listen\">Listen</h2>\n");
    if (has_both)
        tt_text_add(out, "<p>Switch as often as you like: it goes on at the same moment of the reading.</p>\n");
    add_sounds(out, page_folder, take);
    tt_text_add(out, "<div class=\"player\">\n");
    add_controls(out, take, loudness, has_both);
    tt_text_add(out, "</div>\n<p class=\"quiet\">Keys: <kbd>space</kbd> play or stop, <kbd>s</kbd> switch, "
                     "<kbd>d</kbd> next decision, <kbd>u</kbd> the one before, "
                     "<kbd>\xE2\x86\x90</kbd> <kbd>\xE2\x86\x92</kbd> two seconds, <kbd>l</kbd> repeat.</p>\n");
    if (has_both)
        add_blind_test(out);
    tt_page_caution(out);
    tt_text_add(out, "</section>\n");
}

/* ---- figures ---- */

static void add_figure(struct tt_text *out, const char *name, double before, double after, int decimals,
                       const char *unit)
{
    tt_text_addf(out, "<tr><th scope=\"row\">%s</th><td class=\"n\">", name);
    tt_html_number(out, before, decimals);
    tt_text_add(out, "</td><td class=\"n\">");
    tt_html_number(out, after, decimals);
    tt_text_addf(out, "</td><td>%s</td></tr>\n", unit);
}

void tt_take_figures_table(struct tt_text *out, const struct tt_take_report *take)
{
    const struct tt_heard_facts *facts = &take->heard->facts;
    struct tt_after nothing = {{NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN}, NAN, NAN, NAN};
    const struct tt_after *after = take->has_voice ? &take->after : &nothing;
    const struct tt_levels *b = &facts->before, *a = &after->levels;
    tt_text_add(out, "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table of figures\"><table "
                     "class=\"figures\">\n<thead><tr><th scope=\"col\">Measure</th>"
                     "<th scope=\"col\" class=\"n\">Before</th><th scope=\"col\" class=\"n\">After</th><th "
                     "scope=\"col\">Unit</th></tr></thead>\n<tbody>\n");
    add_figure(out, "Length", tt_take_before_s(take), tt_take_after_s(take), 1, "s");
    add_figure(out, "Loudness, integrated", b->integrated_lufs, a->integrated_lufs, 1, "LUFS");
    add_figure(out, "Loudness range", b->loudness_range_lu, a->loudness_range_lu, 1, "LU");
    add_figure(out, "Loudest 3 s", b->max_short_term_lufs, a->max_short_term_lufs, 1, "LUFS");
    add_figure(out, "Loudest 400 ms", b->max_momentary_lufs, a->max_momentary_lufs, 1, "LUFS");
    add_figure(out, "True peak", b->max_true_peak_dbtp, a->max_true_peak_dbtp, 1, "dBTP");
    add_figure(out, "RMS of all", b->rms_dbfs, a->rms_dbfs, 1, "dBFS");
    add_figure(out, "Noise floor", facts->floor_dbfs, after->floor_dbfs, 1, "dBFS");
    add_figure(out, "Noise floor, A-weighted", facts->floor_dba, after->floor_dba, 1, "dBFS(A)");
    add_figure(out, "Speech over floor", facts->speech_dbfs - facts->floor_dbfs, after->speech_dbfs - after->floor_dbfs,
               1, "dB");
    tt_text_add(out, "</tbody></table></div>\n");
}

void tt_take_picture(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    if (!session->settings->report.pictures || take->heard->step_count == 0)
        return;
    tt_text_add(out, "<section aria-labelledby=\"picture-name\">\n<h2 id=\"picture-name\">Level before and after, and "
                     "where each part went</h2>\n"
                     "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Picture\">\n");
    tt_figure(out, take);
    tt_text_add(out, "</div>\n<p class=\"quiet\">Before above, after below, on one scale of time; the bands between "
                     "them show where each part went. Columns in a "
                     "decision\xE2\x80\x99s colour are gone. The level is that of the loudest 100\xC2\xA0ms in each "
                     "place (K-weighted).");
    if (!take->voice_heard)
        tt_text_add(
            out,
            " Below, it is the one above moved by the gain, without what the gate and the softening do in the pauses.");
    tt_text_add(out, "<span class=\"no-print\"> Click into it to go there.</span></p>\n</section>\n");
}

static void add_pause_chart(struct tt_text *out, const struct tt_take_report *take)
{
    struct tt_pauses_heard pauses;
    if (take->comparison || take->heard->run_count < 2)
        return;
    tt_pauses_measure(take, &pauses);
    tt_text_add(out, "<figure><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Chart of pauses\">");
    tt_chart_pauses(out, &pauses);
    tt_text_add(
        out,
        "</div><figcaption>How many pauses between the words are how long: thin before, thick after. The longest was ");
    tt_html_number(out, pauses.longest_before_s, 1);
    tt_text_add(out, "\xC2\xA0s, and is ");
    tt_html_number(out, pauses.longest_after_s, 1);
    tt_text_add(out, "\xC2\xA0s.</figcaption></figure>\n");
}

void tt_take_charts(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    if (!session->settings->report.pictures || !take->voice_heard || take->heard->step_count == 0)
        return;
    tt_text_add(out, "<section aria-labelledby=\"charts\">\n<h2 id=\"charts\">Loudness over time, the room by band, "
                     "and the pauses</h2>\n<div class=\"charts\">\n"
                     "<figure><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Chart of loudness\">");
    tt_chart_loudness(out, session, take);
    tt_text_addf(
        out,
        "</div><figcaption>Loudness over three seconds, in LUFS: thin before, thick "
        "after%s</figcaption></figure>\n<figure><div class=\"scroll\" tabindex=\"0\" "
        "role=\"region\" aria-label=\"Chart of the room\">",
        take->comparison
            ? "."
            : ", the target dashed. It is the whole narration that meets the target; a line may lie beside it.");
    tt_chart_floor(out, take);
    tt_text_add(out, "</div><figcaption>What is left between the lines, in third octaves: thin before, thick after, "
                     "dotted where it would lie if it had only been turned "
                     "up with the voice. From the dotted to the thick line is what the room went down against the "
                     "voice.</figcaption></figure>\n");
    add_pause_chart(out, take);
    tt_text_add(out, "</div>\n</section>\n");
}

void tt_take_view(struct tt_text *out, const struct tt_take_report *take)
{
    if (!take->has_pictures)
        return;
    tt_text_add(out, "<section aria-labelledby=\"view\" class=\"no-print\" id=\"view-part\" hidden>\n<h2 "
                     "id=\"view\">Sound in detail</h2>\n");
    tt_palette_filters(out);
    tt_text_add(out, "<div class=\"row\"><label>Shows <select id=\"span\"><option value=\"4\">4 "
                     "seconds</option><option value=\"12\" selected>12 seconds</option>"
                     "<option value=\"60\">1 minute</option><option value=\"300\">5 minutes</option><option "
                     "value=\"0\">all of it</option></select></label></div>\n"
                     "<div class=\"views\"><canvas id=\"view-before\" role=\"img\" aria-label=\"Spectrogram of before, "
                     "around the place that is heard\"></canvas>\n"
                     "<canvas id=\"view-after\" role=\"img\" aria-label=\"Spectrogram of after, around the same "
                     "moment\"></canvas></div>\n"
                     "<p class=\"quiet\">Before above, after below, around the moment that is heard: low tones at the "
                     "bottom, 60\xC2\xA0Hz to 16\xC2\xA0kHz; the darker (in dark "
                     "colours: the lighter), the stronger, over 72\xC2\xA0"
                     "dB. Bars over it show what is gone. Click to go there.</p>\n</section>\n");
}
