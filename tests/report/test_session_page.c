/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "hive_session.h"

#include <jansson.h>

#include "page_test.h"
#include "report/kinds.h"
#include "report/page.h"

static char *page_of(struct hive *hive)
{
    struct tt_text out = {0};
    struct tt_error err = {0};
    if (!tt_report_session_page(&hive->session, &out, &err))
        fail_msg("%s", err.message);
    return out.data;
}

static void names_and_messages_are_text_and_run_nothing(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.session.name = HOSTILE;
    hive.session.source_folder = "/films/" HOSTILE;
    hive.session.out_folder = "/films/" HOSTILE "2";
    hive.session.target = HOSTILE;
    hive.takes[0].name = hive.takes[0].stem = hive.takes[2].name = HOSTILE;
    hive.takes[0].source_path = "/films/" HOSTILE;
    snprintf(hive.takes[2].error, sizeof hive.takes[2].error, "%s", HOSTILE);
    snprintf(hive.session_warning.message, sizeof hive.session_warning.message, "%s", HOSTILE);
    char *page = page_of(&hive);
    assert_harmless(page);
    assert_lacks(page, "<!--");
    free(page);
}

static void what_to_do_stands_first(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive);
    const char *todo = strstr(page, "What to do first"), *narration = strstr(page, "id=\"narration\"");
    assert_non_null(todo);
    assert_true(todo < narration);
    const char *failed = strstr(page, "the file is empty; was the copy cut short?"),
               *question = strstr(page, "Not ready: 1\xC2\xA0question is open");
    assert_true(failed > todo && failed < narration);
    assert_true(question > todo && question < narration);
    assert_has(page, "01.wav was recorded after 02 - ruche.wav");
    assert_has(page, "at 0:06.3: <bdi>clipped in 3 places</bdi>");
    assert_has(page, "Could not be done, the narration is without it:</strong> <bdi>03.wav: the file is empty");
    free(page);
}

static void a_question_names_the_line_of_the_sheet(void **state)
{
    (void)state; /* counted in the sheet as it is written, a note of two lines in front */
    struct hive hive;
    hive_start(&hive);
    snprintf(hive.notes[3], sizeof hive.notes[3], "two\nlines");
    struct tt_text sheet = {0};
    assert_true(tt_sheet_write(&hive.sheets[0], &sheet));
    size_t line = 1;
    for (const char *c = sheet.data; c < strstr(sheet.data, "m2-3fa2c1-0003"); c++)
        line += *c == '\n';
    char wanted[96];
    snprintf(wanted, sizeof wanted, "line %zu (<code>m2-3fa2c1-0003</code>, 00:00:14.000 to 00:00:15.000)", line);
    char *page = page_of(&hive);
    assert_has(page, wanted);
    assert_int_equal(tt_row_line(&hive.sheets[0], 6), line);
    tt_text_free(&sheet);
    free(page);
}

static void a_question_can_be_heard_out_of_the_voice_too(void **state)
{
    (void)state; /* 14 s of the take is 13.3 s of the voice, 2 s around it */
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive);
    assert_has(page, "data-src=\"./voice/01.wav\" data-from=\"11.300\" data-to=\"16.300\"");
    free(page);
    hive.takes[0].play_before = hive.takes[0].source_path;
    page = page_of(&hive);
    assert_has(page, "data-src=\"../hive/01.wav\" data-from=\"12.000\" data-to=\"17.000\"");
    assert_has(page, "data-src=\"../hive/01.wav\" data-from=\"15.200\" data-to=\"17.000\""); /* the second reading */
    free(page);
}

static void what_was_removed_comes_longest_first(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].play_before = hive.takes[0].source_path, hive.takes[3].play_before = hive.takes[3].source_path;
    char *page = page_of(&hive), *list = between(page, "<ol id=\"removed-list\">", "</ol>");
    const char *misread = strstr(list, "3.0\xC2\xA0s</strong>, misread"),
               *other = strstr(list, "2.0\xC2\xA0s</strong>, other"),
               *talk = strstr(list, "0.5\xC2\xA0s</strong>, talk");
    assert_true(misread && other && talk && misread < other && other < talk);
    assert_int_equal(count_of(list, "<li>"), 3);
    free(list);
    free(page);
}

static void a_misread_that_was_cut_is_heard_beside_the_reading_that_stays(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].play_before = hive.takes[0].source_path;
    char *page = page_of(&hive), *list = between(page, "<ol id=\"removed-list\">", "</ol>");
    assert_has(list, "data-from=\"5.500\" data-to=\"9.000\" data-name=\"01.wav, the reading that stays\"");
    assert_int_equal(count_of(list, ">the reading that stays<"), 1); /* of the misread alone */
    free(list);
    free(page);
    hive.rows[0].action = TT_DO_CHOOSE;
    page = page_of(&hive), list = between(page, "<ol id=\"removed-list\">", "</ol>");
    assert_has(list, "data-from=\"2.000\" data-to=\"5.000\" data-name=\"01.wav, the reading that stays\"");
    free(list);
    free(page);
}

static void a_question_can_be_answered_on_the_page(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive), *text = between(page, "id=\"data\">", "</script>");
    assert_has(page, "data-answer=\"0\" data-action=\"cut\"");
    assert_has(page, "data-answer=\"0\" data-action=\"choose\"");
    assert_has(page, "--changes <span id=\"change-file\"></span></code>");
    json_t *data = json_loads(text, 0, NULL), *row = json_array_get(json_object_get(data, "rows"), 0);
    assert_string_equal(json_string_value(json_object_get(row, "action")), "ask");
    assert_string_equal(json_string_value(json_object_get(row, "take")), "01.wav");
    assert_string_equal(json_string_value(json_object_get(row, "id")), "m2-3fa2c1-0003");
    json_decref(data);
    free(text);
    free(page);
}

static void a_reading_that_nothing_replaces_is_asked_about_in_other_words(void **state)
{
    (void)state;
    struct hive hive;
    static char note[] = "it stops in mid-word, and nothing replaces it";
    hive_start(&hive);
    hive.rows[6].note = note;
    char *page = page_of(&hive), *question = between(page, "<ol id=\"questions\">", "</ol>");
    assert_has(question, "no other reading replaces it: it is still in");
    assert_lacks(question, "the other reading");
    assert_has(question, "data-action=\"cut\">Cut it<");
    assert_lacks(question, "data-action=\"choose\"");
    free(question);
    free(page);
}

/* The row that the button names is the one that the list tells of. */
static void what_was_removed_is_explained_and_can_be_put_back(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive), *list = between(page, "<ol id=\"removed-list\">", "</ol>"),
         *first = between(list, "<li>", "</li>"), *text = between(page, "id=\"data\">", "</script>");
    assert_has(first, "98\xC2\xA0% sure");
    assert_has(first, "You read this again: the reading at 0:05.5");
    assert_has(first, "data-action=\"keep\"");
    char *number = between(first, "data-answer=\"", "\"");
    json_t *data = json_loads(text, 0, NULL),
           *row = json_array_get(json_object_get(data, "rows"), (size_t)atoi(number));
    assert_string_equal(json_string_value(json_object_get(row, "id")), hive.rows[0].id);
    json_decref(data);
    free(number);
    free(first);
    free(text);
    free(list);
    free(page);
}

static void advice_on_recordings_is_given_once_and_not_as_a_line_to_read_again(void **state)
{
    (void)state;
    static struct tt_warning hums[2] = {{"hum", "mains hum at 50.0 Hz", NAN}, {"hum", "mains hum at 50.1 Hz", NAN}};
    struct hive hive;
    hive_start(&hive);
    for (size_t i = 0; i < 2; i++)
        hive.takes[i].warnings = &hums[i], hive.takes[i].warning_count = 1;
    char *page = page_of(&hive);
    assert_int_equal(count_of(page, "mains hum"), 1);
    assert_has(page, "(likewise in 1\xC2\xA0more take: see there)");
    assert_lacks(page, "perhaps read again");
    free(page);
}

static void totals_are_those_of_all_takes(void **state)
{
    (void)state; /* 20 + 10 + 2 s; out: 3.0 + 0.5 + 1.2 + 2.0 s */
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive);
    assert_has(page, "32.0\xC2\xA0s recorded; the narration runs 31.0\xC2\xA0s");
    assert_has(page, "<strong>6.7\xC2\xA0s</strong> in all: 1\xC2\xA0misread\xC2\xA0(3.0\xC2\xA0s), 1\xC2\xA0piece of "
                     "talk\xC2\xA0(0.5\xC2\xA0s)");
    assert_has(page, "1\xC2\xA0pause made shorter\xC2\xA0(1.2\xC2\xA0s)");
    assert_has(page, "<a href=\"report/02%20-%20ruche.html\"><bdi>02 - ruche.wav</bdi></a>");
    assert_has(
        page,
        "2\xC2\xA0other files in the folder: no sound files, passed over: <bdi>hive.jpg</bdi>, <bdi>script.txt</bdi>.");
    free(page);
}

static void of_many_files_that_were_passed_over_the_first_are_named(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    for (size_t i = 0; i < TT_MOST_PASSED_OVER_NAMES; i++)
        hive.session.passed_over_names[i] = HOSTILE;
    hive.session.passed_over = TT_MOST_PASSED_OVER_NAMES + 3;
    char *page = page_of(&hive);
    assert_has(page, "15\xC2\xA0other files");
    assert_has(page, " and 3 more.</p>");
    assert_harmless(page);
    free(page);
}

/* The label and the cut of a whole take; what the program decided is not among them. */
static void what_a_person_decided_is_listed(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive), *list = between(page, "<ol id=\"own-list\">", "</ol>");
    assert_has(page, "2\xC2\xA0"
                     "decisions are yours");
    assert_int_equal(count_of(list, "<li>"), 2);
    assert_has(list, "the queen");
    assert_has(list, "a test of the microphone");
    assert_lacks(list, "data-answer");
    free(list);
    free(page);
    hive.rows[4].is_persons = hive.whole_row.is_persons = false;
    page = page_of(&hive);
    assert_lacks(page, "What you decided");
    free(page);
}

static void a_persons_decision_can_go_back_to_what_was_proposed(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.rows[0].is_persons = true;
    hive.rows[0].action = TT_DO_KEEP;
    char *page = page_of(&hive), *list = between(page, "<ol id=\"own-list\">", "</ol>");
    assert_has(list, "data-action=\"cut\"");
    assert_has(list, "as proposed: cut</button>");
    free(list);
    free(page);
}

static void a_narration_that_no_browser_plays_is_named(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.settings.deliver.format = TT_CONTAINER_RF64;
    char *page = page_of(&hive);
    assert_has(page, "Browsers cannot play RF64 files: open <code>narration.wav</code>");
    assert_lacks(page, "src=\"narration");
    free(page);
}

static void the_command_is_the_one_that_made_it(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive);
    assert_has(page, "<code>tidytake clean /films/hive</code>");
    free(page);
    hive.session.out_folder = "/out/the hive";
    hive.session.target = "ebu-r128";
    page = page_of(&hive);
    assert_has(page, "<code>tidytake clean /films/hive -o <bdi>&#39;/out/the hive&#39;</bdi> --for ebu-r128</code>");
    free(page);
}

static void a_plan_has_no_narration_to_play(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.session.is_plan = true;
    hive.session.has_narration = false;
    char *page = page_of(&hive);
    assert_has(page, "nothing was rendered");
    assert_lacks(page, "src=\"narration");
    free(page);
}

static void when_nothing_is_left_to_do_it_says_so(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.rows[6].action = TT_DO_CUT;
    hive.takes[0].warning_count = hive.session.warning_count = 0;
    hive.takes[2] = hive.takes[3];
    hive.session.take_count = 3;
    char *page = page_of(&hive);
    assert_has(page, "No question is open, and nothing needs to be read again.");
    free(page);
}

/* ---- colours: WCAG 2.2, definitions of relative luminance and contrast ratio ---- */

static double linear(unsigned value)
{
    double c = value / 255.0;
    return c <= 0.04045 ? c / 12.92 : pow((c + 0.055) / 1.055, 2.4);
}

static double luminance_of(const char *scheme, const char *name)
{
    char wanted[32];
    unsigned red = 0, green = 0, blue = 0;
    snprintf(wanted, sizeof wanted, "--%s:#", name);
    const char *at = strstr(scheme, wanted);
    if (!at || sscanf(at + strlen(wanted), "%2x%2x%2x", &red, &green, &blue) != 3)
        fail_msg("no colour %s", name);
    return 0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue);
}

static void assert_contrast(const char *scheme, const char *one, const char *two, double least)
{
    double a = luminance_of(scheme, one), b = luminance_of(scheme, two),
           ratio = (fmax(a, b) + 0.05) / (fmin(a, b) + 0.05);
    if (ratio < least)
        fail_msg("%s on %s: %.2f, wanted %.1f", one, two, ratio, least);
}

static void colours_keep_the_contrasts_of_wcag(void **state)
{
    (void)state; /* 1.4.3: text 4.5; 1.4.11: shapes 3 */
    static const char *const grounds[] = {"paper", "card", "wax"}, *const texts[] = {"ink", "soft", "honey"};
    struct hive hive;
    hive_start(&hive);
    char *page = page_of(&hive), *light = between(page, "<style>", "@media"),
         *dark = between(page, "prefers-color-scheme:dark", "*{box-sizing");
    const char *const schemes[] = {light, dark};
    for (size_t s = 0; s < 2; s++)
        for (size_t g = 0; g < 3; g++) {
            for (size_t t = 0; t < 3; t++)
                assert_contrast(schemes[s], texts[t], grounds[g], 4.5);
            assert_contrast(schemes[s], "rule", grounds[g], 3);
            for (int kind = 0; kind < TT_ROW_KINDS; kind++)
                assert_contrast(schemes[s], tt_row_kind_name((enum tt_row_kind)kind), grounds[g], 3);
            assert_contrast(schemes[s], "level", grounds[g], 3);
        }
    free(light);
    free(dark);
    free(page);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(names_and_messages_are_text_and_run_nothing),
        cmocka_unit_test(what_to_do_stands_first),
        cmocka_unit_test(a_question_names_the_line_of_the_sheet),
        cmocka_unit_test(a_question_can_be_heard_out_of_the_voice_too),
        cmocka_unit_test(what_was_removed_comes_longest_first),
        cmocka_unit_test(a_misread_that_was_cut_is_heard_beside_the_reading_that_stays),
        cmocka_unit_test(a_question_can_be_answered_on_the_page),
        cmocka_unit_test(a_reading_that_nothing_replaces_is_asked_about_in_other_words),
        cmocka_unit_test(what_was_removed_is_explained_and_can_be_put_back),
        cmocka_unit_test(advice_on_recordings_is_given_once_and_not_as_a_line_to_read_again),
        cmocka_unit_test(totals_are_those_of_all_takes),
        cmocka_unit_test(of_many_files_that_were_passed_over_the_first_are_named),
        cmocka_unit_test(what_a_person_decided_is_listed),
        cmocka_unit_test(a_persons_decision_can_go_back_to_what_was_proposed),
        cmocka_unit_test(a_narration_that_no_browser_plays_is_named),
        cmocka_unit_test(the_command_is_the_one_that_made_it),
        cmocka_unit_test(a_plan_has_no_narration_to_play),
        cmocka_unit_test(when_nothing_is_left_to_do_it_says_so),
        cmocka_unit_test(colours_keep_the_contrasts_of_wcag),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
