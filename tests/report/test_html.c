/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "hive_session.h"

#include "page_test.h"
#include "report/html.h"

#include <jansson.h>

static void assert_becomes(void (*add)(struct tt_text *, const char *), const char *text, const char *wanted)
{
    struct tt_text out = {0};
    add(&out, text);
    assert_string_equal(out.data, wanted);
    tt_text_free(&out);
}

static void markup_in_a_text_is_shown_as_text(void **state)
{
    (void)state;
    assert_becomes(tt_html_text, "<b>\"R&D\"</b> 'x'", "&lt;b&gt;&quot;R&amp;D&quot;&lt;/b&gt; &#39;x&#39;");
}

static void control_characters_become_their_pictures(void **state)
{
    (void)state; /* Unicode 15, block Control Pictures: U+240A for line feed, U+241B for escape, U+2421 for delete */
    assert_becomes(tt_html_text, "a\nb\x1B\x7F",
                   "a\xE2\x90\x8A"
                   "b\xE2\x90\x9B\xE2\x90\xA1");
}

static void bytes_that_are_no_utf8_become_replacement_characters(void **state)
{
    (void)state;
    assert_becomes(tt_html_text, "ruche\xE9\x80", "ruche\xEF\xBF\xBD\xEF\xBF\xBD");
}

static void a_name_keeps_its_direction_to_itself(void **state)
{
    (void)state;
    assert_becomes(tt_html_name,
                   "\xE2\x80\xAE"
                   "3.wav",
                   "<bdi>\xE2\x80\xAE"
                   "3.wav</bdi>");
}

static void a_path_is_percent_encoded(void **state)
{
    (void)state; /* RFC 3986, 2.1 and 2.3 */
    assert_becomes(tt_html_url, "a b/50%#1?.wav", "a%20b/50%25%231%3F.wav");
    assert_becomes(tt_html_url,
                   "r\xC3\xBC"
                   "cke~-_.wav",
                   "r%C3%BCcke~-_.wav");
}

static void assert_relative(const char *folder, const char *path, const char *wanted)
{
    struct tt_text out = {0};
    tt_html_relative_url(&out, folder, path);
    assert_string_equal(out.data, wanted);
    tt_text_free(&out);
}

static void a_relative_url_climbs_to_what_both_share(void **state)
{
    (void)state; /* resolved by hand after RFC 3986, 5.2.4, the page's own name being behind the folder */
    assert_relative("/films/hive.tidy/report", "/films/hive/01.wav", "../../hive/01.wav");
    assert_relative("/films/hive", "/films/hive/01.wav", "./01.wav");
    assert_relative("/films/hive", "/films/hive2/01.wav", "../hive2/01.wav");
    assert_relative("/out", "/films/a:b.wav", "../films/a%3Ab.wav");
    assert_relative("/films", "/films/a:b.wav", "./a%3Ab.wav");
}

static void assert_clock(double seconds, const char *wanted)
{
    struct tt_text out = {0};
    tt_html_clock(&out, seconds);
    assert_string_equal(out.data, wanted);
    tt_text_free(&out);
}

static void a_clock_carries_tenths_that_round_up(void **state)
{
    (void)state;
    assert_clock(0, "0:00.0");
    assert_clock(59.96, "1:00.0");
    assert_clock(3599.95, "1:00:00.0");
    assert_clock(7323.44, "2:02:03.4");
    assert_clock((double)NAN, "\xE2\x80\x93");
}

static void assert_number(double value, int decimals, const char *wanted)
{
    struct tt_text out = {0};
    tt_html_number(&out, value, decimals);
    assert_string_equal(out.data, wanted);
    tt_text_free(&out);
}

static void a_number_that_is_not_defined_is_a_dash(void **state)
{
    (void)state;
    assert_number(-16.04, 1,
                  "\xE2\x88\x92"
                  "16.0");
    assert_number(-0.04, 1, "0.0");
    assert_number(0.996, 2, "1.00");
    assert_number((double)NAN, 1, "\xE2\x80\x93");
    assert_number((double)-INFINITY, 1, "\xE2\x88\x92\xE2\x88\x9E");
}

static void a_json_string_in_a_script_reads_back_and_cannot_end_it(void **state)
{
    (void)state; /* jansson reads it; HTML, 4.12.1.3: only "</script" and "<!--" matter inside a script element */
    struct tt_text out = {0};
    tt_html_json_string(&out, HOSTILE "\\\xE2\x80\xA8\x01");
    assert_lacks(out.data, "<");
    assert_lacks(out.data, "\n");
    json_t *value = json_loads(out.data, JSON_DECODE_ANY, NULL);
    assert_string_equal(json_string_value(value), HOSTILE "\\\xE2\x80\xA8\x01");
    json_decref(value);
    tt_text_free(&out);
}

/* What sh makes of a word. */
static void assert_shell_word(const char *word)
{
    struct tt_text shown = {0}, line = {0};
    char back[256] = {0};
    tt_html_shell_word(&shown, word);
    tt_text_add(&line, "printf %s ");
    for (const char *c = shown.data; *c; c++) { /* as a browser's user copies it */
        if (strncmp(c, "<bdi>", 5) == 0)
            c += 4;
        else if (strncmp(c, "</bdi>", 6) == 0)
            c += 5;
        else if (strncmp(c, "&#39;", 5) == 0)
            tt_text_add(&line, "'"), c += 4;
        else if (strncmp(c, "&quot;", 6) == 0)
            tt_text_add(&line, "\""), c += 5;
        else if (strncmp(c, "&amp;", 5) == 0)
            tt_text_add(&line, "&"), c += 4;
        else
            tt_text_add_bytes(&line, c, 1);
    }
    FILE *pipe = popen(line.data, "r");
    assert_non_null(pipe);
    size_t read = fread(back, 1, sizeof back - 1, pipe);
    assert_int_equal(pclose(pipe), 0);
    assert_int_equal(read, strlen(word));
    assert_string_equal(back, word);
    tt_text_free(&shown);
    tt_text_free(&line);
}

static void a_command_can_be_copied_into_a_shell(void **state)
{
    (void)state;
    assert_shell_word("/films/hive");
    assert_shell_word("/films/the hive's \"first\" $HOME `id` & more; *");
    assert_shell_word("~/hive");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(markup_in_a_text_is_shown_as_text),
        cmocka_unit_test(control_characters_become_their_pictures),
        cmocka_unit_test(bytes_that_are_no_utf8_become_replacement_characters),
        cmocka_unit_test(a_name_keeps_its_direction_to_itself),
        cmocka_unit_test(a_path_is_percent_encoded),
        cmocka_unit_test(a_relative_url_climbs_to_what_both_share),
        cmocka_unit_test(a_clock_carries_tenths_that_round_up),
        cmocka_unit_test(a_number_that_is_not_defined_is_a_dash),
        cmocka_unit_test(a_json_string_in_a_script_reads_back_and_cannot_end_it),
        cmocka_unit_test(a_command_can_be_copied_into_a_shell),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
