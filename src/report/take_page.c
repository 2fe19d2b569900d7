/* SPDX-License-Identifier: GPL-2.0-or-later */
/* OUT/report/STEM.html: one take, before and after. */
#include <math.h>

#include "report/chart.h"
#include "report/figure.h"
#include "report/html.h"
#include "report/kinds.h"
#include "report/page.h"
#include "report/palette.h"
#include "report/totals.h"

static const char minus_sign[] = "\xE2\x88\x92";

static void add_heading(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    tt_text_add(out, "<header>\n<p class=\"no-print\"><a href=\"../index.html\">All takes of ");
    tt_html_name(out, session->name);
    tt_text_add(out, "</a></p>\n<h1>");
    tt_html_name(out, take->name);
    tt_text_add(out, "</h1>\n");
}

static void add_lead(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take, const struct tt_removed *removed)
{
    tt_text_add(out, "<p class=\"lead\">");
    tt_html_length(out, tt_take_before_s(take));
    if (tt_take_is_empty(take)) tt_text_add(out, " recorded, and nothing of it is left");
    else {
        tt_text_add(out, " recorded, ");
        tt_html_length(out, tt_take_after_s(take));
        tt_text_add(out, take->has_voice ? " of voice" : " would stay");
    }
    tt_text_add(out, ". Taken out: ");
    tt_page_removed(out, removed);
    tt_text_add(out, ".</p>\n");
    if (session->is_plan) tt_text_add(out, "<p>This is a plan: nothing was rendered yet.</p>\n");
    tt_text_add(out, "</header>\n<main>\n");
}

static void add_todo(struct tt_text *out, const struct tt_take_report *take)
{
    size_t questions = tt_report_questions(take);
    if (questions == 0 && take->warning_count == 0) return;
    tt_text_addf(out, "<section class=\"todo\" aria-labelledby=\"todo\">\n<h2 id=\"todo\">%s</h2>\n<ul>\n", questions > 0 ? "What to do first" : "To know");
    if (questions > 0) {
        tt_text_add(out, "<li><strong>");
        tt_html_count(out, questions, "open question");
        tt_text_add(out, "</strong>: what they ask about is still in. Listen to them in the <a href=\"#decisions\">table</a> (action \xE2\x80\x9C"
                         "asks you\xE2\x80\x9D), and choose.</li>\n");
    }
    for (size_t i = 0; i < take->warning_count; i++) {
        tt_text_add(out, "<li>");
        if (isfinite(take->warnings[i].at_s)) {
            tt_text_add(out, "At ");
            tt_html_clock(out, take->warnings[i].at_s);
            tt_text_add(out, ": ");
        }
        tt_html_name(out, take->warnings[i].message);
        tt_text_add(out, "</li>\n");
    }
    tt_text_add(out, "</ul>\n</section>\n");
}

/* ---- listening ---- */

static void add_sound(struct tt_text *out, const struct tt_session_report *session, const char *id, const char *label, const char *path)
{
    struct tt_text folder = {0};
    tt_text_addf(&folder, "%s/report", session->out_folder);
    tt_text_addf(out, "<audio id=\"%s\" controls preload=\"metadata\" aria-label=\"%s\" src=\"", id, label);
    if (folder.data) tt_html_relative_url(out, folder.data, path);
    tt_text_add(out, "\"></audio>\n");
    if (folder.has_failed) out->has_failed = true;
    tt_text_free(&folder);
}

static void add_sounds(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    if (take->play_before) add_sound(out, session, "before", "The take as recorded", take->play_before);
    else tt_text_add(out, "<p>Browsers cannot play this take\xE2\x80\x99s kind of file, so only its voice can be heard here.</p>\n");
    if (take->lacks_removed) tt_text_add(out, "<p>In this copy of the take, what was taken out is silent.</p>\n");
    if (take->play_after) add_sound(out, session, "after", "The voice", take->play_after);
    else if (take->has_voice) tt_text_add(out, "<p>Browsers cannot play RF64 files, so the voice cannot be heard here.</p>\n");
}

static void add_match(struct tt_text *out, const struct tt_page_loudness *loudness)
{
    double over = loudness->after_lufs - loudness->before_lufs;
    if (!isfinite(over)) return;
    tt_text_addf(out, "<label><input type=\"checkbox\" id=\"match\" checked> Equal loudness: %s turned down by ", over < 0 ? "before" : "after");
    tt_html_number(out, fabs(over), 1);
    tt_text_add(out, "\xC2\xA0" "dB</label>\n");
}

static void add_controls(struct tt_text *out, const struct tt_take_report *take, const struct tt_page_loudness *loudness, bool has_both)
{
    tt_text_add(out, "<div class=\"row\"><button type=\"button\" class=\"big\" id=\"play\">Play</button>\n"
                     "<span class=\"pair\" role=\"group\" aria-label=\"What is heard\"><button type=\"button\" class=\"big\" id=\"hear-before\" "
                     "aria-pressed=\"false\">Before</button><button type=\"button\" class=\"big\" id=\"hear-after\" aria-pressed=\"false\">After</button></span>\n"
                     "<input type=\"range\" id=\"place\" min=\"0\" step=\"0.1\" value=\"0\" aria-label=\"Place in the take\" max=\"");
    tt_html_exact(out, tt_take_before_s(take), 1);
    tt_text_add(out, "\"><span id=\"clock\" class=\"quiet\"></span></div>\n<div class=\"row\">");
    tt_page_level_control(out);
    if (has_both) add_match(out, loudness);
    tt_text_add(out, "<label><input type=\"checkbox\" id=\"loop\"> Repeat a decision</label>\n"
                     "<label><input type=\"checkbox\" id=\"keys\" checked> Keys</label>\n"
                     "<span id=\"said\" role=\"status\"></span></div>\n");
}

/* Rounds as in the usual tables of the binomial test: 8 to 20 are enough for an answer. */
static void add_blind_test(struct tt_text *out)
{
    tt_text_add(out, "<details id=\"blind\"><summary>Blind test: do you hear a difference?</summary>\n<p>A is the take, B is the voice, X is one of the two, by lot, "
                     "at equal loudness. Only what is in both is played, in short passages that repeat. Choose the number of rounds first, and finish them.</p>\n"
                     "<div class=\"row\"><label>Rounds <select id=\"rounds\"><option>8</option><option selected>10</option><option>16</option><option>20</option>"
                     "</select></label>\n<button type=\"button\" id=\"blind-begin\">Begin</button>\n<span class=\"pair\" role=\"group\" aria-label=\"What is heard in the test\">");
    for (const char *name = "abx"; *name; name++)
        tt_text_addf(out, "<button type=\"button\" class=\"big\" id=\"blind-%c\" aria-pressed=\"false\">%c</button>", *name, *name - 'a' + 'A');
    tt_text_add(out, "</span>\n<span role=\"group\" aria-label=\"Your answer\"><button type=\"button\" id=\"is-a\">X is A</button> "
                     "<button type=\"button\" id=\"is-b\">X is B</button></span>\n<button type=\"button\" id=\"blind-stop\">Stop the test</button></div>\n"
                     "<p id=\"blind-said\" role=\"status\"></p></details>\n");
}

static void add_listening(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                          const struct tt_page_loudness *loudness)
{
    bool has_both = take->play_before && take->play_after;
    tt_text_add(out, "<section aria-labelledby=\"listen\" class=\"no-print\">\n<h2 id=\"listen\">Listen</h2>\n");
    if (has_both) tt_text_add(out, "<p>Switch as often as you like: it goes on at the same moment of the reading.</p>\n");
    add_sounds(out, session, take);
    tt_text_add(out, "<div class=\"player\">\n");
    add_controls(out, take, loudness, has_both);
    tt_text_add(out, "</div>\n<p class=\"quiet\">Keys: <kbd>space</kbd> play or stop, <kbd>s</kbd> switch, <kbd>d</kbd> next decision, <kbd>u</kbd> the one before, "
                     "<kbd>\xE2\x86\x90</kbd> <kbd>\xE2\x86\x92</kbd> two seconds, <kbd>l</kbd> repeat.</p>\n");
    if (has_both) add_blind_test(out);
    tt_page_caution(out);
    tt_text_add(out, "</section>\n");
}

/* ---- figures ---- */

static void add_figure(struct tt_text *out, const char *name, double before, double after, int decimals, const char *unit)
{
    tt_text_addf(out, "<tr><th scope=\"row\">%s</th><td class=\"n\">", name);
    tt_html_number(out, before, decimals);
    tt_text_add(out, "</td><td class=\"n\">");
    tt_html_number(out, after, decimals);
    tt_text_addf(out, "</td><td>%s</td></tr>\n", unit);
}

static void add_figures_table(struct tt_text *out, const struct tt_take_report *take)
{
    const struct tt_heard_facts *facts = &take->heard->facts;
    struct tt_after nothing = { { NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN }, NAN, NAN, NAN };
    const struct tt_after *after = take->has_voice ? &take->after : &nothing;
    const struct tt_levels *b = &facts->before, *a = &after->levels;
    tt_text_add(out, "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table of figures\"><table class=\"figures\">\n<thead><tr><th scope=\"col\">Measure</th>"
                     "<th scope=\"col\" class=\"n\">Before</th><th scope=\"col\" class=\"n\">After</th><th scope=\"col\">Unit</th></tr></thead>\n<tbody>\n");
    add_figure(out, "Length", tt_take_before_s(take), tt_take_after_s(take), 1, "s");
    add_figure(out, "Loudness, integrated", b->integrated_lufs, a->integrated_lufs, 1, "LUFS");
    add_figure(out, "Loudness range", b->loudness_range_lu, a->loudness_range_lu, 1, "LU");
    add_figure(out, "Loudest 3 s", b->max_short_term_lufs, a->max_short_term_lufs, 1, "LUFS");
    add_figure(out, "Loudest 400 ms", b->max_momentary_lufs, a->max_momentary_lufs, 1, "LUFS");
    add_figure(out, "True peak", b->max_true_peak_dbtp, a->max_true_peak_dbtp, 1, "dBTP");
    add_figure(out, "RMS of all", b->rms_dbfs, a->rms_dbfs, 1, "dBFS");
    add_figure(out, "Noise floor", facts->floor_dbfs, after->floor_dbfs, 1, "dBFS");
    add_figure(out, "Noise floor, A-weighted", facts->floor_dba, after->floor_dba, 1, "dBFS(A)");
    add_figure(out, "Speech over floor", facts->speech_dbfs - facts->floor_dbfs, after->speech_dbfs - after->floor_dbfs, 1, "dB");
    tt_text_add(out, "</tbody></table></div>\n");
}

static void add_gain_words(struct tt_text *out, const struct tt_take_report *take)
{
    if (!take->has_voice) return;
    tt_text_add(out, "<p class=\"quiet\">The voice was turned ");
    tt_text_add(out, take->gain_db < 0 ? "down by " : "up by ");
    tt_html_number(out, fabs(take->gain_db), 1);
    tt_text_add(out, "\xC2\xA0" "dB");
    if (take->limited_db > 0.05) {
        tt_text_add(out, "; its loudest peaks were held back by up to ");
        tt_html_number(out, take->limited_db, 1);
        tt_text_add(out, "\xC2\xA0" "dB");
    }
    tt_text_addf(out, ". Loudness and peaks as ITU-R BS.1770-5 measures them. A louder figure is nearer to 0: %s16 is louder than %s20. The floor is what is left "
                      "between the lines.</p>\n", minus_sign, minus_sign);
    if (take->out_channel_count == 2) tt_text_add(out, "<p class=\"quiet\">The voice is in two channels alike, which reads 3.01\xC2\xA0LU higher than one.</p>\n");
}

static void add_pace_words(struct tt_text *out, const struct tt_take_report *take)
{
    if (!(take->pace_syllables_per_s > 0)) return;
    tt_text_add(out, "<p class=\"quiet\">What stays is read at about ");
    tt_html_number(out, take->pace_syllables_per_s, 1);
    tt_text_add(out, " syllables a second of speech, pauses not counted.</p>\n");
}

static void add_picture(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    if (!session->settings->report.pictures || take->heard->step_count == 0) return;
    tt_text_add(out, "<section aria-labelledby=\"picture-name\">\n<h2 id=\"picture-name\">Level before and after, and where each part went</h2>\n"
                     "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Picture\">\n");
    tt_figure(out, take);
    tt_text_add(out, "</div>\n<p class=\"quiet\">Above the take, below its voice, on one scale of time; the bands between them show where each part went. Columns in a "
                     "decision\xE2\x80\x99s colour are gone. The level is that of the loudest 100\xC2\xA0ms in each place (K-weighted).");
    if (!take->voice_heard) tt_text_add(out, " Below, it is the one above moved by the gain, without what the gate and the softening do in the pauses.");
    tt_text_add(out, "<span class=\"no-print\"> Click into it to go there.</span></p>\n</section>\n");
}

static void add_charts(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    if (!session->settings->report.pictures || !take->voice_heard || take->heard->step_count == 0) return;
    tt_text_add(out, "<section aria-labelledby=\"charts\">\n<h2 id=\"charts\">Loudness over time, and the room by band</h2>\n<div class=\"charts\">\n"
                     "<figure><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Chart of loudness\">");
    tt_chart_loudness(out, session, take);
    tt_text_add(out, "</div><figcaption>Loudness over three seconds, in LUFS: thin before, thick after, the target dashed. It is the whole narration that meets the "
                     "target; a line may lie beside it.</figcaption></figure>\n<figure><div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Chart of the room\">");
    tt_chart_floor(out, take);
    tt_text_add(out, "</div><figcaption>What is left between the lines, in third octaves: thin before, thick after, dotted where it would lie if it had only been turned "
                     "up with the voice. From the dotted to the thick line is what the room went down against the voice.</figcaption></figure>\n</div>\n</section>\n");
}

static void add_view(struct tt_text *out, const struct tt_take_report *take)
{
    if (!take->has_pictures) return;
    tt_text_add(out, "<section aria-labelledby=\"view\" class=\"no-print\" id=\"view-part\" hidden>\n<h2 id=\"view\">Sound in detail</h2>\n");
    tt_palette_filters(out);
    tt_text_add(out, "<div class=\"row\"><label>Shows <select id=\"span\"><option value=\"4\">4 seconds</option><option value=\"12\" selected>12 seconds</option>"
                     "<option value=\"60\">1 minute</option><option value=\"300\">5 minutes</option><option value=\"0\">all of it</option></select></label></div>\n"
                     "<div class=\"views\"><canvas id=\"view-before\" role=\"img\" aria-label=\"Spectrogram of the take around the place that is heard\"></canvas>\n"
                     "<canvas id=\"view-after\" role=\"img\" aria-label=\"Spectrogram of the voice around the same moment\"></canvas></div>\n"
                     "<p class=\"quiet\">Before above, after below, around the moment that is heard: low tones at the bottom, 60\xC2\xA0Hz to 16\xC2\xA0kHz; the darker (in dark "
                     "colours: the lighter), the stronger, over 72\xC2\xA0" "dB. Bars over the take show what is gone. Click to go there.</p>\n</section>\n");
}

static void add_details(struct tt_text *out, const struct tt_take_report *take)
{
    const struct tt_heard_facts *facts = &take->heard->facts;
    tt_text_add(out, "<section aria-labelledby=\"details\">\n<h2 id=\"details\">The recording</h2>\n<p><code>");
    tt_html_name(out, take->source_path);
    tt_text_addf(out, "</code></p>\n<p>%d\xC2\xA0Hz, ", facts->rate_hz);
    tt_html_count(out, (size_t)facts->channel_count, "channel");
    if (facts->channel_count > 1) {
        if (facts->channel < 0) tt_text_add(out, "; the mean of them was used");
        else tt_text_addf(out, "; channel %d was used", facts->channel + 1);
    }
    if (facts->channel_why[0]) {
        tt_text_add(out, ": ");
        tt_html_name(out, facts->channel_why);
    }
    tt_text_add(out, ".</p>\n");
    if (take->persons_rows > 0) {
        tt_text_add(out, "<p>");
        tt_html_count(out, take->persons_rows, "row");
        tt_text_add(out, " of its sheet came from you, and stayed as you made them.</p>\n");
    }
    tt_text_add(out, "</section>\n");
}

static bool add_body(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take, const struct tt_page_loudness *loudness,
                     struct tt_error *err)
{
    struct tt_removed removed;
    if (!tt_removed_measure(take->sheet, take->map, take->heard->facts.frame_count, &removed, err)) return false;
    tt_kind_symbols(out);
    add_heading(out, session, take);
    add_lead(out, session, take, &removed);
    add_todo(out, take);
    if (take->play_before || take->play_after) add_listening(out, session, take, loudness);
    add_picture(out, session, take);
    add_view(out, take);
    tt_take_decisions(out, session, take);
    tt_text_add(out, "<div class=\"beside\">\n<section aria-labelledby=\"figures\">\n<h2 id=\"figures\">Figures</h2>\n");
    add_figures_table(out, take);
    add_gain_words(out, take);
    add_pace_words(out, take);
    tt_text_add(out, "</section>\n");
    add_charts(out, session, take);
    tt_text_add(out, "</div>\n");
    add_details(out, take);
    tt_text_add(out, "</main>\n");
    tt_page_footer(out, session);
    return true;
}

/* A take that failed has a page too, should one be asked for. */
static void add_failed_body(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take)
{
    add_heading(out, session, take);
    tt_text_add(out, "</header>\n<main>\n<p class=\"todo\">This take could not be done: ");
    tt_html_name(out, take->error);
    tt_text_add(out, "</p>\n</main>\n");
    tt_page_footer(out, session);
}

bool tt_report_take_page(const struct tt_session_report *session, const struct tt_take_report *take, struct tt_text *out, struct tt_error *err)
{
    static const char *const *const scripts[] = { tt_script_common, tt_script_take, tt_script_blind, tt_script_view, NULL };
    static const char *const *const no_scripts[] = { NULL };
    bool is_done = !take->has_failed && take->is_heard;
    struct tt_page_head head = { take->name, tt_page_style, is_done ? scripts : no_scripts };
    struct tt_page_loudness loudness = { NAN, NAN };
    struct tt_text data = {0};
    bool ok = tt_html_open(out, &head, err);
    if (is_done) ok = ok && tt_page_loudness_of(take, &loudness, err) && add_body(out, session, take, &loudness, err) && tt_take_data(&data, take, &loudness);
    else add_failed_body(out, session, take);
    if (ok) tt_html_close(out, &head, data.data ? data.data : "");
    ok = ok && !data.has_failed && !out->has_failed;
    tt_text_free(&data);
    return ok || tt_fail_memory(err);
}
