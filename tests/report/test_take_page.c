/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "hive_session.h"

#include "page_test.h"
#include "report/page.h"

#include <jansson.h>

static float steps[200]; /* 20 s */

static void start(struct hive *hive)
{
    hive_start(hive);
    for (size_t i = 0; i < 200; i++)
        steps[i] = i % 10 < 7 ? 1e-3f : 1e-6f;
    hive->heard[0].steps = steps;
    hive->heard[0].step_count = 200;
    hive->heard[0].facts.channel_count = 1;
    hive->takes[0].source_channel_count = 1;
    hive->takes[0].play_before = hive->takes[0].source_path;
}

static char *page_of(struct hive *hive, size_t take)
{
    struct tt_text out = {0};
    struct tt_error err = {0};
    if (!tt_report_take_page(&hive->session, &hive->takes[take], &out, &err))
        fail_msg("%s", err.message);
    return out.data;
}

static void names_and_notes_are_text_and_run_nothing(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char note[] = HOSTILE "</style><img src=x onerror=alert(1)>";
    hive.takes[0].name = HOSTILE;
    hive.takes[0].stem = HOSTILE;
    hive.takes[0].source_path = "/films/" HOSTILE;
    hive.session.name = HOSTILE;
    hive.rows[3].note = note;
    hive.rows[0].note = note;
    snprintf(hive.warnings[0].message, sizeof hive.warnings[0].message, "%s", note);
    snprintf(hive.heard[0].facts.channel_why, sizeof hive.heard[0].facts.channel_why, "%s", HOSTILE);
    char *page = page_of(&hive, 0);
    assert_harmless(page);
    assert_lacks(page, "<img");
    assert_lacks(page, "<!--");
    assert_has(page, "&lt;script&gt;alert(1)&lt;/script&gt;");
    free(page);
}

static void the_table_tells_every_decision(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char *page = page_of(&hive, 0);
    assert_int_equal(count_of(page, " data-row=\""), HIVE_ROWS);
    assert_has(page, "You read this again: the reading at 0:05.5\xE2\x80\x93"
                     "0:09.0 stays instead.");
    assert_has(page, "You may have read this again: it and the reading at 0:15.2\xE2\x80\x93"
                     "0:17.0 are both still in.");
    assert_has(page, "shortened to 0.80\xC2\xA0s");
    assert_has(page, "softened by 12.0\xC2\xA0"
                     "dB");
    assert_has(page, "opened for 4.00\xC2\xA0s");
    assert_has(page, "<bdi>the queen</bdi>");
    assert_has(page, "98\xC2\xA0%");
    free(page);
}

static void what_the_program_notes_is_told_in_words(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    static char note[] = "between the misread and its re-read";
    hive.rows[1].note = note;
    char *page = page_of(&hive, 0), *table = between(page, "<tbody id=\"rows\">", "</tbody>");
    assert_has(table, "Said between a misread and its second reading: it goes with the misread.");
    assert_lacks(table, note);
    free(table);
    free(page);
    hive.rows[1].action = TT_DO_ASK;
    page = page_of(&hive, 0), table = between(page, "<tbody id=\"rows\">", "</tbody>");
    assert_has(table, "Said between a misread and its second reading, perhaps to yourself: it is still in.");
    free(table);
    free(page);
    hive.rows[1].action = TT_DO_KEEP; /* what was asked is not asked again behind the answer */
    page = page_of(&hive, 0), table = between(page, "<tbody id=\"rows\">", "</tbody>");
    assert_has(table, "Talk that stays.");
    assert_lacks(table, note);
    free(table);
    free(page);
}

/* The rest is on the page itself; of a short table all is printed. */
static void of_a_long_table_paper_gets_no_pauses_and_breaths(void **state)
{
    (void)state;
    enum { MANY = 60 };
    struct hive hive;
    struct tt_row rows[MANY];
    start(&hive);
    char *page = page_of(&hive, 0);
    assert_int_equal(count_of(page, "<tr class=\"p\""), HIVE_ROWS);
    assert_lacks(page, "<p class=\"print-only\">");
    free(page);
    for (size_t i = 0; i < MANY; i++) {
        rows[i] = hive.rows[0];
        rows[i].kind = i % 2 ? TT_ROW_PAUSE : TT_ROW_TALK, rows[i].action = TT_DO_CUT, rows[i].note = hive.notes[3];
        rows[i].start_ms = (int64_t)i * 100, rows[i].end_ms = rows[i].start_ms + 50;
    }
    hive.sheets[0].rows = rows, hive.sheets[0].count = MANY;
    page = page_of(&hive, 0);
    char *table = between(page, "<tbody id=\"rows\">", "</tbody>");
    assert_int_equal(count_of(table, "<tr class=\"p\""), 24);
    assert_has(table, "<tr data-row=\"1\">");
    assert_has(page, "<p class=\"print-only\">36\xC2\xA0"
                     "decisions more");
    free(table);
    free(page);
}

static void of_three_readings_the_last_is_named(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    hive.rows[1] = hive_row(&hive, 1, "m9-3fa2c1-0009", 5400, 9100, TT_ROW_MISREAD, TT_DO_CUT, NAN, 0.98,
                            "read again 00:00:12.000-00:00:15.500");
    char *page = page_of(&hive, 0);
    assert_int_equal(count_of(page, "You read this again: the reading at 0:12.0\xE2\x80\x93"
                                    "0:15.5 stays instead."),
                     2);
    assert_has(page, "It is the last of 3.");
    free(page);
    snprintf(hive.rows[1].note, 64, "read again 00:00:01.000-00:00:02.000, in 02 - ruche.wav");
    page = page_of(&hive, 0);
    assert_has(page, "the reading at 0:01.0\xE2\x80\x93"
                     "0:02.0 in <bdi>02 - ruche.wav</bdi> stays instead. It is the last of 3.");
    free(page);
}

static void readings_that_replace_each_other_come_to_an_end(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    hive.rows[1] = hive_row(&hive, 1, "m9-3fa2c1-0009", 5400, 9100, TT_ROW_MISREAD, TT_DO_CUT, NAN, 0.98,
                            "read again 00:00:02.000-00:00:05.000");
    free(page_of(&hive, 0));
}

static void figures_stand_before_and_after_with_units(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char *page = page_of(&hive, 0);
    assert_has(page, "Loudness, integrated</th><td class=\"n\">\xE2\x88\x92"
                     "27.3</td><td class=\"n\">\xE2\x88\x92"
                     "16.0</td><td>LUFS</td>");
    assert_has(page, "Length</th><td class=\"n\">20.0</td><td class=\"n\">19.3</td><td>s</td>");
    assert_has(page, "Speech over floor</th><td class=\"n\">27.0</td><td class=\"n\">49.8</td><td>dB</td>");
    free(page);
}

static void the_script_gets_the_time_map_in_seconds(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char *page = page_of(&hive, 0), *text = between(page, "id=\"data\">", "</script>");
    json_t *data = json_loads(text, 0, NULL);
    assert_non_null(data);
    json_t *third = json_array_get(json_object_get(data, "map"), 2); /* 508800, 624000, 283200 at 48 kHz */
    assert_true(fabs(json_number_value(json_array_get(third, 0)) - 10.6) < 1e-9);
    assert_true(fabs(json_number_value(json_array_get(third, 1)) - 13.0) < 1e-9);
    assert_true(fabs(json_number_value(json_array_get(third, 2)) - 5.9) < 1e-9);
    json_t *asked = json_array_get(json_object_get(data, "rows"), 6);
    assert_string_equal(json_string_value(json_object_get(asked, "id")), "m2-3fa2c1-0003");
    assert_true(fabs(json_number_value(json_object_get(asked, "os")) - 13.3) < 1e-9); /* 590400 + 48000 samples */
    json_decref(data);
    free(text);
    free(page);
}

static void equal_loudness_is_that_of_what_stayed(void **state)
{
    (void)state; /* the reading is 1e-3 of power all through, -0.691 - 30 dB and less for its pauses; gates and sum by
                    BS.1770-5 */
    struct hive hive;
    struct tt_page_loudness one, loudest;
    struct tt_error err = {0};
    start(&hive);
    assert_true(tt_page_loudness_of(&hive.takes[0], &one, &err));
    assert_true(fabs(one.after_lufs - (-16.0 + 10 * log10(2))) < 1e-9); /* one channel comes from both loudspeakers */
    for (size_t i = 20; i < 55; i++)
        steps[i] = 1; /* the misread and the talk were shouted: they are gone */
    assert_true(tt_page_loudness_of(&hive.takes[0], &loudest, &err));
    assert_true(fabs(loudest.before_lufs - one.before_lufs) < 1e-9);
    assert_true(one.before_lufs < -0.691 - 30 + 3.02 && one.before_lufs > -0.691 - 30 - 3);
    hive.heard[0].facts.channel = 0;
    hive.heard[0].facts.channel_count = hive.takes[0].source_channel_count = 2; /* one of two: it comes from one side */
    assert_true(tt_page_loudness_of(&hive.takes[0], &loudest, &err));
    assert_true(fabs(one.before_lufs - loudest.before_lufs - 10 * log10(2)) < 1e-9);
}

static void both_sounds_are_linked_from_where_the_page_lies(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    hive.takes[1].play_before = hive.takes[1].source_path;
    char *page = page_of(&hive, 1);
    assert_has(page, "src=\"../../hive/02%20-%20ruche.wav\"");
    assert_has(page, "src=\"../voice/02%20-%20ruche.wav\"");
    free(page);
}

static void a_take_that_no_browser_plays_says_so(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    hive.takes[0].play_before = NULL;
    char *page = page_of(&hive, 0);
    assert_has(page, "Browsers cannot play this take");
    assert_lacks(page, "id=\"before\"");
    assert_lacks(page, "data-do=\"only\"");
    assert_has(page, "id=\"after\"");
    free(page);
}

static void a_copy_is_linked_in_place_of_the_take(void **state)
{
    (void)state;
    struct hive hive;
    struct tt_page_loudness own, copy;
    start(&hive);
    assert_true(tt_page_loudness_of(&hive.takes[0], &own, NULL));
    hive.takes[0].play_before = "/films/hive.tidy/report/01/take-0123456789ab.flac";
    hive.takes[0].has_copy = true;
    hive.takes[0].copy_gain_db = -2.5;
    char *page = page_of(&hive, 0);
    assert_has(page,
               "id=\"before\" controls preload=\"metadata\" aria-label=\"Before\" src=\"./01/take-0123456789ab.flac\"");
    assert_has(page, "data-do=\"only\"");
    free(page);
    assert_true(tt_page_loudness_of(&hive.takes[0], &copy, NULL));
    assert_float_equal(copy.before_lufs, own.before_lufs - 2.5, 1e-9);
}

/* A pause may be heard alone, the misread may not. */
static void what_is_silent_in_a_copy_has_no_button(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    hive.takes[0].lacks_removed = hive.takes[0].has_copy = true;
    char *page = page_of(&hive, 0), *misread = between(page, "data-row=\"0\"", "</tr>"),
         *pause = between(page, "data-row=\"2\"", "</tr>");
    assert_lacks(misread, "data-do=\"only\"");
    assert_has(misread, "data-do=\"before\"");
    assert_has(pause, "data-do=\"only\"");
    assert_has(page, "what was taken out is silent");
    free(misread);
    free(pause);
    free(page);
}

static void the_picture_can_be_left_out(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char *page = page_of(&hive, 0);
    assert_has(page, "<svg class=\"picture\"");
    free(page);
    hive.settings.report.pictures = false;
    page = page_of(&hive, 0);
    assert_lacks(page, "<svg class=\"picture\"");
    assert_harmless(page);
    free(page);
}

static void the_picture_shows_what_is_gone_where_it_was(void **state)
{
    (void)state; /* 84 units of margin and 1160 for 20 s: the misread's 2 s to 5 s are 200 to 374, of the pause only 9.4
                    s to 10.6 s is gone */
    struct hive hive;
    start(&hive);
    char *page = page_of(&hive, 0), *misread = between(page, "<path class=\"misread gone\" d=\"", "\""),
         *pause = between(page, "<path class=\"pause gone\" d=\"", "\"");
    assert_int_equal(strncmp(misread, "M200.0 ", 7), 0);
    assert_has(misread, "H374.0V");
    assert_int_equal(strncmp(pause, "M629.2 ", 7), 0);
    assert_has(pause, "H698.8V");
    assert_int_equal(count_of(pause, "M"), 1);
    free(misread);
    free(pause);
    free(page);
}

static void a_take_of_which_nothing_is_left_has_a_page(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char *page = page_of(&hive, 3);
    assert_has(page, "nothing of it is left");
    assert_lacks(page, "id=\"after\"");
    assert_harmless(page);
    free(page);
}

static void a_plan_shows_decisions_without_a_voice(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    hive.session.is_plan = true;
    hive.takes[0].has_voice = false;
    hive.takes[0].play_after = NULL;
    char *page = page_of(&hive, 0);
    assert_has(page, "nothing was rendered yet");
    assert_has(page, "would stay");
    assert_int_equal(count_of(page, " data-row=\""), HIVE_ROWS);
    free(page);
}

static void the_same_report_gives_the_same_page(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char *one = page_of(&hive, 0), *two = page_of(&hive, 0);
    assert_string_equal(one, two);
    free(one);
    free(two);
}

static void listening_level_is_spoken_of(void **state)
{
    (void)state;
    struct hive hive;
    start(&hive);
    char *page = page_of(&hive, 0);
    assert_has(page, "ITU-T H.870");
    free(page);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_and_notes_are_text_and_run_nothing),
        cmocka_unit_test(the_table_tells_every_decision),
        cmocka_unit_test(what_the_program_notes_is_told_in_words),
        cmocka_unit_test(of_a_long_table_paper_gets_no_pauses_and_breaths),
        cmocka_unit_test(of_three_readings_the_last_is_named),
        cmocka_unit_test(readings_that_replace_each_other_come_to_an_end),
        cmocka_unit_test(figures_stand_before_and_after_with_units),
        cmocka_unit_test(the_script_gets_the_time_map_in_seconds),
        cmocka_unit_test(equal_loudness_is_that_of_what_stayed),
        cmocka_unit_test(both_sounds_are_linked_from_where_the_page_lies),
        cmocka_unit_test(a_take_that_no_browser_plays_says_so),
        cmocka_unit_test(a_copy_is_linked_in_place_of_the_take),
        cmocka_unit_test(what_is_silent_in_a_copy_has_no_button),
        cmocka_unit_test(the_picture_can_be_left_out),
        cmocka_unit_test(the_picture_shows_what_is_gone_where_it_was),
        cmocka_unit_test(a_take_of_which_nothing_is_left_has_a_page),
        cmocka_unit_test(a_plan_shows_decisions_without_a_voice),
        cmocka_unit_test(the_same_report_gives_the_same_page),
        cmocka_unit_test(listening_level_is_spoken_of),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
