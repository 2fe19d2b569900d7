/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "hive_session.h"

#include <ctype.h>

#include "report/report.h"

/* The summary's text, the caller's; every line but the page's path is checked for its width and for control characters.
 */
static char *summarise(const struct tt_session_report *session, bool verbose)
{
    struct tt_text text = {0};
    struct tt_error err = {0};
    if (!tt_report_summary(session, verbose, &text, &err))
        fail_msg("%s", err.message);
    assert_true(tt_utf8_is_valid(text.data, text.length));
    size_t columns = 0;
    const char *line = text.data;
    for (const char *c = text.data; *c; c++) {
        if (*c == '\n') {
            if (columns > 80 && strncmp(line, "The page is ", 12) != 0 && strncmp(line, "The narration", 13) != 0)
                fail_msg("%zu columns: %.*s", columns, (int)(c - line), line);
            columns = 0;
            line = c + 1;
        } else {
            assert_false(iscntrl((unsigned char)*c));
            columns += ((unsigned char)*c & 0xC0) != 0x80;
        }
    }
    assert_ptr_equal(line, text.data + text.length);
    return text.data;
}

static const char *find(const char *text, const char *part)
{
    const char *at = strstr(text, part);
    if (!at)
        fail_msg("'%s' is not in:\n%s", part, text);
    return at;
}

static void what_a_person_must_do_comes_first(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char *text = summarise(&hive.session, false);
    static const char *const order[] = {
        "Nothing is left of 1 take\n  04.wav\n",
        "1 take could not be done: the narration is WITHOUT it\n  03.wav: the file is empty",
        "1 question, both readings are still in\n",
        "  01.wav            00:00:14.000  misread: read again 00:00:15.200-00:00:17.000\n",
        "3 warnings: lines to read again",
        "01.wav was recorded after 02 - ruche.wav",
        "00:00:06.250  clipped in 3 places",
        "Longest removals",
        "3.0 s misread",
        "2.0 s other",
        "1.2 s pause",
        "0.5 s talk",
        "Running time  0:00:32 -> 0:00:31, 0:00:07 taken out\n",
        "-16.0 LUFS after",
        "-3.1 dBTP before, -1.5 dBTP after",
        "-51.5 dBFS before, -66.5 dBFS after",
        "2 other files",
        "The narration, WITHOUT 03.wav, is /films/hive.tidy/narration.wav\n",
        "The page is /films/hive.tidy/index.html\n",
    };
    assert_ptr_equal(find(text, order[0]), text);
    for (size_t i = 1; i < sizeof order / sizeof *order; i++)
        if (find(text, order[i]) < find(text, order[i - 1]))
            fail_msg("'%s' comes before '%s'", order[i], order[i - 1]);
    free(text);
}

static void a_card_full_of_bad_takes_does_not_bury_the_rest(void **state)
{
    (void)state;
    struct hive hive;
    struct tt_take_report many[25];
    hive_start(&hive);
    for (size_t i = 0; i < 25; i++)
        many[i] = hive.session.takes[i < 12 ? 2 : 3]; /* failed, empty */
    hive.session.takes = many;
    hive.session.take_count = 25;
    char *text = summarise(&hive.session, false);
    find(text, "Nothing is left of 13 takes\n");
    find(text, "  ... and 5 more; the page has them all\n12 takes could not be done");
    find(text, "  ... and 4 more; the page has them all\n\n");
    find(text, "The narration, WITHOUT 12 takes, is /films/hive.tidy/narration.wav\n");
    free(text);
}

static void long_lists_of_questions_end_in_a_number(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_row rows[12];
    for (int i = 0; i < 12; i++)
        rows[i] = hive_row(&hive, 0, "", 1000 * i, 1000 * i + 500, TT_ROW_MISREAD, TT_DO_ASK, NAN, 0.6,
                           "read again 00:00:20.000-00:00:21.000");
    hive.sheets[0].rows = rows;
    hive.sheets[0].count = 12;
    char *text = summarise(&hive.session, false);
    find(text, "12 questions, both readings are still in\n");
    find(text, "00:00:07.000");
    assert_null(strstr(text, "00:00:08.000"));
    find(text, "  ... and 4 more\n");
    free(text);
    rows[3].note = "it stops in mid-word, and nothing replaces it"; /* of which there is one reading only */
    text = summarise(&hive.session, false);
    find(text, "12 questions, what is asked about is still in\n");
    free(text);
    hive.sheets[0].count = 8;
    text = summarise(&hive.session, false);
    assert_null(strstr(text, "more\n"));
    free(text);
}

static void long_lists_of_warnings_point_to_the_page(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_warning warnings[8];
    for (int i = 0; i < 8; i++) {
        warnings[i] = (struct tt_warning){"held-back", "", i};
        snprintf(warnings[i].message, sizeof warnings[i].message, "the limiter held back %d", i);
    }
    hive.takes[0].warnings = warnings;
    hive.takes[0].warning_count = 8;
    char *text = summarise(&hive.session, false);
    find(text, "10 warnings");
    find(text, "held back 5");
    assert_null(strstr(text, "held back 6"));
    find(text, "  ... and 2 more; the page has them all\n");
    free(text);
}

static void a_warning_that_recurs_from_take_to_take_is_one_line(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_warning hum[2] = {{"hum", "mains hum at 50.0 Hz", NAN}, {"hum", "mains hum at 50.1 Hz", NAN}};
    hive.takes[0].warnings = &hum[0];
    hive.takes[1].warnings = &hum[1];
    hive.takes[0].warning_count = hive.takes[1].warning_count = 1;
    char *text = summarise(&hive.session, false);
    find(text, "mains hum at 50.0 Hz (and likewise in 1 more");
    assert_null(strstr(text, "50.1 Hz"));
    free(text);
}

static void talk_alone_is_no_second_reading(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.rows[6].kind = TT_ROW_TALK;
    char *text = summarise(&hive.session, false);
    find(text, "1 question, what is asked about is still in\n");
    free(text);
    hive.rows[6].action = TT_DO_KEEP;
    text = summarise(&hive.session, false);
    find(text, "No question is open\n");
    free(text);
}

static void only_the_five_longest_removals_are_listed(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    static const int lengths_ms[] = {1000, 7000, 3000, 7000, 2000, 500, 6000, 4000};
    for (size_t i = 0; i < HIVE_ROWS; i++) {
        hive.rows[i].kind = TT_ROW_TALK;
        hive.rows[i].action = TT_DO_CUT;
        hive.rows[i].start_ms = 10000 * (int64_t)i;
        hive.rows[i].end_ms = hive.rows[i].start_ms + lengths_ms[i];
    }
    char *text = summarise(&hive.session, false);
    const char *first = find(text, "00:00:10.000  7.0 s"), *second = find(text, "00:00:30.000  7.0 s"),
               *last = find(text, "00:00:20.000  3.0 s");
    assert_true(first < second && second < last);
    find(text, "6.0 s");
    find(text, "4.0 s");
    assert_null(strstr(text, "2.0 s"));
    free(text);
}

static void verbose_adds_a_row_for_each_take(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    snprintf(hive.takes[1].why, sizeof hive.takes[1].why, "up to date");
    char *text = summarise(&hive.session, true);
    find(text, "  01.wav              0:00:20 -> 0:00:19  -16.0 LUFS  1 to answer   new\n");
    find(text, "  03.wav              could not be done\n");
    find(text, "Takes         4, of which 1 could not be done, 1 was up to date\n");
    find(text, "up to date\n");
    free(text);
    text = summarise(&hive.session, false);
    assert_null(strstr(text, "1 to answer"));
    free(text);
}

static void takes_that_are_left_out_are_counted(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].is_heard = hive.takes[3].is_heard = false;
    char *text = summarise(&hive.session, false);
    find(text, "Takes         4, of which 1 could not be done, 2 were left out\n");
    free(text);
}

/* Recorders put the date first, and what tells one take from the next last. */
static void a_name_too_long_for_its_column_stands_whole_in_a_line_of_its_own(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].name = "2026-03-14 la ruche, d\xc3\xa9"
                         "but 001.wav";
    char *text = summarise(&hive.session, true);
    find(text, "  2026-03-14 la ruche, d\xc3\xa9"
               "but 001.wav\n"
               "                    00:00:14.000  misread: read again");
    find(text, "  2026-03-14 la ruche, d\xc3\xa9"
               "but 001.wav\n"
               "                      0:00:20 -> 0:00:19  -16.0 LUFS  1 to answer   new\n");
    free(text);
}

static void a_plan_says_that_nothing_was_rendered(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.session.is_plan = true;
    hive.session.has_narration = false;
    for (size_t i = 0; i < HIVE_TAKES; i++)
        hive.takes[i].has_voice = false;
    char *text = summarise(&hive.session, true);
    find(text, "0:00:32 -> 0:00:29 as planned");
    find(text, "Nothing was rendered");
    assert_null(strstr(text, "LUFS after"));
    free(text);
}

static void names_and_notes_neither_steer_nor_widen(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char long_word[400];
    memset(long_word, 'x', sizeof long_word - 1);
    long_word[sizeof long_word - 1] = '\0';
    hive.takes[0].name = "\x1b]0;owned\x07\r\n\xc2\x9b"
                         "2J la ruche au printemps, deuxi\xc3\xa8me prise \xe2\x80\xae.wav";
    hive.takes[1].name = long_word;
    hive.takes[2].name = "\xff\xfe.wav";
    snprintf(hive.takes[2].error, sizeof hive.takes[2].error, "\x1b[31m%s %s", long_word, "\xc3\xa9t\xc3\xa9");
    snprintf(hive.notes[6], sizeof hive.notes[6], "\x1b[2J%.40s", long_word);
    snprintf(hive.warnings[1].message, sizeof hive.warnings[1].message, "\n\n%.300s", long_word);
    for (size_t i = 0; i < HIVE_TAKES; i++)
        snprintf(hive.takes[i].why, sizeof hive.takes[i].why, "its sheet changed and so did its gain\x07");
    hive.session.target = "audiobook";
    hive.session.out_folder = "/films/\x1b[31mhive.tidy";
    char *text = summarise(&hive.session, true);
    find(text, "?]0;owned??");
    find(text, "The page is /films/?[31mhive.tidy/index.html\n");
    free(text);
}

static void nothing_heard_gives_no_figures(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.session.has_narration = false;
    hive.session.take_count = 1;
    struct tt_take_report *take = &hive.takes[0];
    take->after.levels.integrated_lufs = take->after.levels.max_true_peak_dbtp = take->after.floor_dbfs = -INFINITY;
    hive.heard[0].facts.before =
        (struct tt_levels){20, -INFINITY, NAN, -INFINITY, -INFINITY, -INFINITY, -INFINITY, -INFINITY};
    hive.heard[0].facts.floor_dbfs = -INFINITY;
    char *text = summarise(&hive.session, true);
    assert_null(strstr(text, "inf"));
    assert_null(strstr(text, "nan"));
    assert_null(strstr(text, "Loudness"));
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_a_person_must_do_comes_first),
        cmocka_unit_test(a_card_full_of_bad_takes_does_not_bury_the_rest),
        cmocka_unit_test(long_lists_of_questions_end_in_a_number),
        cmocka_unit_test(long_lists_of_warnings_point_to_the_page),
        cmocka_unit_test(a_warning_that_recurs_from_take_to_take_is_one_line),
        cmocka_unit_test(talk_alone_is_no_second_reading),
        cmocka_unit_test(only_the_five_longest_removals_are_listed),
        cmocka_unit_test(verbose_adds_a_row_for_each_take),
        cmocka_unit_test(takes_that_are_left_out_are_counted),
        cmocka_unit_test(a_name_too_long_for_its_column_stands_whole_in_a_line_of_its_own),
        cmocka_unit_test(a_plan_says_that_nothing_was_rendered),
        cmocka_unit_test(names_and_notes_neither_steer_nor_widen),
        cmocka_unit_test(nothing_heard_gives_no_figures),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
