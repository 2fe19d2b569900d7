/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <locale.h>
#include <math.h>

#include "base/setting_row.h"
#include "base/text.h"
#include "base/wrap.h"

static void a_text_grows_and_stays_terminated(void **state)
{
    (void)state;
    struct tt_text text = {0};
    for (int i = 0; i < 1000; i++)
        tt_text_addf(&text, "%d,", i);
    tt_text_add_bytes(&text, "a\0b", 3);
    tt_text_add(&text, "");
    assert_false(text.has_failed);
    assert_int_equal(text.length, 10 + 90 * 2 + 900 * 3 + 1000 + 3);
    assert_memory_equal(text.data, "0,1,2,", 6);
    assert_memory_equal(text.data + text.length - 4, ",a\0b", 5);
    tt_text_free(&text);
    assert_null(text.data);
}

static void a_failed_text_stays_failed(void **state)
{
    (void)state;
    struct tt_text text = {0};
    tt_text_add(&text, "x");
    tt_text_add_bytes(&text, "y", SIZE_MAX - 1);
    assert_true(text.has_failed);
    tt_text_add(&text, "z");
    assert_string_equal(text.data, "x");
    tt_text_free(&text);
}

static void a_time_is_printed_in_hours_to_the_millisecond(void **state)
{
    (void)state;
    static const struct {
        int64_t ms;
        const char *text;
    } cases[] = {
        {0, "00:00:00.000"},
        {65250, "00:01:05.250"},
        {3599999, "00:59:59.999"},
        {360000000, "100:00:00.000"},
        {-1500, "-00:00:01.500"},
        {INT64_MIN, "-2562047788015:12:55.808"},
        {INT64_MAX, "2562047788015:12:55.807"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char buffer[TT_TIME_CHARS];
        tt_time_format(cases[i].ms, buffer);
        assert_string_equal(buffer, cases[i].text);
    }
}

static void times_are_read_as_spreadsheets_write_them(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        int64_t ms;
        bool is_coarse;
    } cases[] = {
        {"00:01:05.250", 65250, false},
        {"0:01:05,25", 65250, true},
        {"01:05", 65000, true},
        {"65.25", 65250, true},
        {"  1:00:00.5\t", 3600500, true},
        {"75:00", 4500000, true},
        {"0.0004", 0, false},
        {"0.0005", 1, false},
        {"59.9996", 60000, false},
        {"100:00:00.000", 360000000, false},
        {"7,125", 7125, false},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        int64_t ms = -1;
        bool is_coarse = !cases[i].is_coarse;
        if (!tt_time_parse(cases[i].text, &ms, &is_coarse))
            fail_msg("%s is refused", cases[i].text);
        assert_int_equal(ms, cases[i].ms);
        assert_int_equal(is_coarse, cases[i].is_coarse);
    }
    static const char *const refused[] = {"",    " ",    "1:",  ":1",    "1:60",  "1:2:60",      "1:2:3:4",
                                          "-1",  "1.",   ".5",  "1:003", "1.5.2", "12345678901", "1e3",
                                          "1 2", "0x10", "nan", "1:+2",  "٣"};
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        int64_t ms = 42;
        if (tt_time_parse(refused[i], &ms, NULL))
            fail_msg("'%s' is taken", refused[i]);
        assert_int_equal(ms, 42);
    }
}

static void every_printed_time_is_read_back_the_same(void **state)
{
    (void)state;
    for (int64_t ms = 0; ms < 400000000; ms = 3 * ms / 2 + 7) {
        char buffer[TT_TIME_CHARS];
        int64_t again = -1;
        bool is_coarse = true;
        tt_time_format(ms, buffer);
        assert_true(tt_time_parse(buffer, &again, &is_coarse));
        assert_int_equal(again, ms);
        assert_false(is_coarse);
    }
}

static void check_numbers(void)
{
    static const struct {
        const char *text;
        double value;
    } cases[] = {
        {"0", 0},     {"-16", -16},  {"+3", 3},         {"0.97", 0.97}, {"0,97", 0.97},
        {" 15 ", 15}, {"1e3", 1000}, {"1.5E-2", 0.015}, {".5", 0.5},    {"5.", 5},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double value = NAN;
        if (!tt_number_parse(cases[i].text, &value))
            fail_msg("%s is refused", cases[i].text);
        assert_true(value == cases[i].value);
    }
    static const char *const refused[] = {"",    " ",     "-",     ".",     "e5",    "1e",  "1e+",
                                          "1 2", "1,2,3", "1.2,3", "0x10",  "inf",   "nan", "1-2",
                                          "--1", "1e5.5", "15dB",  "1e999", "1e5e5", "−16"};
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        double value = 42;
        if (tt_number_parse(refused[i], &value))
            fail_msg("'%s' is taken", refused[i]);
        assert_true(value == 42);
    }
}

static void numbers_take_a_point_or_a_comma(void **state)
{
    (void)state;
    check_numbers();
}

/* Makes a locale with a decimal comma, so that the test does not wait for a machine that has one installed. */
static void numbers_do_not_depend_on_the_locale(void **state)
{
    (void)state;
    char folder[] = "/tmp/tidytake-locale-XXXXXX", command[256];
    assert_non_null(mkdtemp(folder));
    snprintf(command, sizeof command, "localedef -i fr_FR -f UTF-8 %s/fr_FR.UTF-8 2>/dev/null", folder);
    bool is_made = system(command) == 0 && setenv("LOCPATH", folder, 1) == 0 && setlocale(LC_ALL, "fr_FR.UTF-8");
    bool has_comma = is_made && strcmp(localeconv()->decimal_point, ",") == 0;
    if (has_comma) {
        struct tt_text text = {0};
        check_numbers();
        tt_setting_add_number(-0.1, &text);
        assert_string_equal(text.data, "-0.1");
        tt_text_free(&text);
    }
    setlocale(LC_ALL, "C");
    snprintf(command, sizeof command, "rm -r %s", folder);
    assert_int_equal(system(command), 0);
    if (!has_comma)
        skip(); /* no localedef here */
}

static int sign(int value) { return (value > 0) - (value < 0); }

static void take_2_comes_before_take_10(void **state)
{
    (void)state;
    static const char *const ordered[] = {"",
                                          "1.wav",
                                          "2.wav",
                                          "10.wav",
                                          "take",
                                          "take 02",
                                          "take 2",
                                          "take 2a",
                                          "take 10",
                                          "take 10 b 3",
                                          "take 010x",
                                          "take 99999999999999999999998",
                                          "take 99999999999999999999999",
                                          "takes",
                                          "é"};
    size_t count = sizeof ordered / sizeof *ordered;
    for (size_t i = 0; i < count; i++)
        for (size_t j = 0; j < count; j++) {
            int expected = (i > j) - (i < j);
            if (sign(tt_natural_compare(ordered[i], ordered[j])) != expected)
                fail_msg("'%s' against '%s'", ordered[i], ordered[j]);
        }
}

static void the_order_of_names_is_total(void **state)
{
    (void)state;
    char names[64][4];
    for (int i = 0; i < 64; i++) { /* all words of three letters of "0", "1", "a", end */
        const char letters[] = {'0', '1', 'a', '\0'};
        for (int k = 0; k < 3; k++)
            names[i][k] = letters[(i >> (2 * k)) & 3];
        names[i][3] = '\0';
    }
    for (int a = 0; a < 64; a++)
        for (int b = 0; b < 64; b++) {
            int ab = sign(tt_natural_compare(names[a], names[b]));
            assert_int_equal(ab, -sign(tt_natural_compare(names[b], names[a])));
            assert_int_equal(ab == 0, strcmp(names[a], names[b]) == 0);
            for (int c = 0; c < 64; c++)
                if (ab < 0 && tt_natural_compare(names[b], names[c]) < 0)
                    assert_true(tt_natural_compare(names[a], names[c]) < 0);
        }
}

static void the_nearest_name_is_found_or_none(void **state)
{
    (void)state;
    static const char *const known[] = {"depth_db", "hum", "keep_faint_db", "soften_db"};
    assert_string_equal(tt_nearest_name("dept_db", known, 4), "depth_db");
    assert_string_equal(tt_nearest_name("detph_db", known, 4), "depth_db"); /* swapped letters are one slip */
    assert_string_equal(tt_nearest_name("hun", known, 4), "hum");
    assert_string_equal(tt_nearest_name("keep_faint", known, 4), "keep_faint_db");
    assert_string_equal(tt_nearest_name("Depth_DB", known, 4), "depth_db"); /* letters large or small */
    assert_string_equal(tt_nearest_name("depth", known, 4),
                        "depth_db"); /* it begins it, though three of eight letters are missing */
    assert_string_equal(tt_nearest_name("faint_db", known, 4), "keep_faint_db"); /* or ends it as a word */
    assert_null(tt_nearest_name("de", known, 4));
    assert_null(tt_nearest_name("aint_db", known, 4));  /* within a word is not enough */
    assert_null(tt_nearest_name("depxhxxb", known, 4)); /* three letters of eight are wrong: more than a third */
    assert_null(tt_nearest_name("bees", known, 4));
    assert_null(tt_nearest_name("", known, 4));
    assert_null(tt_nearest_name("hum", known, 0));
    char longest[500];
    memset(longest, 'h', sizeof longest);
    longest[sizeof longest - 1] = '\0';
    assert_null(tt_nearest_name(longest, known, 4));
}

/* RFC 3629: section 7's examples, and what sections 3 and 4 forbid. */
static void only_well_formed_utf8_is_valid(void **state)
{
    (void)state;
    static const char *const good[] = {"",
                                       "abc",
                                       "A\xE2\x89\xA2\xCE\x91.",
                                       "\xED\x95\x9C\xEA\xB5\xAD\xEC\x96\xB4",
                                       "\xE6\x97\xA5\xE6\x9C\xAC\xE8\xAA\x9E",
                                       "\xEF\xBB\xBF\xF0\xA3\x8E\xB4",
                                       "\xF4\x8F\xBF\xBF",
                                       "\x7F",
                                       "\xDF\xBF",
                                       "\xED\x9F\xBF",
                                       "\xEE\x80\x80"};
    static const char *const bad[] = {"\x80",
                                      "\xC0\x80",
                                      "\xC1\xBF",
                                      "\xE0\x9F\xBF",
                                      "\xED\xA0\x80",
                                      "\xF0\x8F\xBF\xBF",
                                      "\xF4\x90\x80\x80",
                                      "\xF5\x80\x80\x80",
                                      "\xFF",
                                      "a\xE2\x89",
                                      "\xC3(",
                                      "\xE2(\xA1",
                                      "\xE2\x82(",
                                      "\xF0\x90\x8D"};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        assert_true(tt_utf8_is_valid(good[i], strlen(good[i])));
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(tt_utf8_is_valid(bad[i], strlen(bad[i])));
    assert_true(tt_utf8_is_valid("\0", 1));
}

static void what_steers_a_terminal_becomes_question_marks_and_words_stay(void **state)
{
    (void)state;
    /* C0, DEL, C1 (U+009B begins what ESC [ does), bytes that are no UTF-8, separators, marks and overrides of
     * direction. */
    char text[] = "a\033[2J\x7F|\xC2\x9B|\x9B\xFF|\xE2\x80\xA8|\xE2\x80\xAE|\xE2\x81\xA6|\xD8\x9C|\xC3\xA9t\xC3\xA9 "
                  "\xE2\x82\xAC\n";
    tt_make_one_line(text);
    assert_string_equal(text, "a?[2J?|?|\x3F?|?|?|?|?|\xC3\xA9t\xC3\xA9 \xE2\x82\xAC?");
    struct tt_error error = {0};
    tt_fail(&error, TT_ERROR_INPUT, "%s: no",
            "ruche\xC2\x9B"
            "31m\xE2\x80\xAE.wav");
    assert_string_equal(error.message, "ruche?31m?.wav: no");
}

static void a_long_text_is_shown_cut_between_characters(void **state)
{
    (void)state;
    char buffer[TT_SHOWN_CHARS], text[201];
    assert_string_equal(tt_shown("ruche", buffer), "ruche");
    for (size_t i = 0; i < sizeof text - 1; i += 2)
        memcpy(text + i, "é", 2);
    text[sizeof text - 1] = '\0';
    for (int shift = 0; shift < 2; shift++) {
        const char *shown = tt_shown(text + 2 * shift, buffer);
        assert_true(strlen(shown) < TT_SHOWN_CHARS);
        assert_string_equal(shown + strlen(shown) - 3, "...");
        assert_true(tt_utf8_is_valid(shown, strlen(shown)));
        text[1] = 'a', text[2] = 'b', text[3] = 'c'; /* the second time round: shifted by one byte */
    }
}

static void text_is_wrapped_at_80_columns_and_words_stay_whole(void **state)
{
    (void)state;
    struct tt_text input = {0}, out = {0};
    for (int i = 0; i < 78; i++)
        tt_text_add(&input, "é"); /* 78 columns, 156 bytes: fills the line behind "; " */
    tt_text_add(&input, " b");
    for (int i = 0; i < 100; i++)
        tt_text_add(&input, i ? "x" : " ");
    tt_text_add(&input, "  c d ");
    tt_wrap_add(&out, "; ", input.data);
    size_t first = strcspn(out.data, "\n");
    assert_int_equal(first, 2 + 156);
    assert_memory_equal(out.data + first, "\n; b\n; xxx", 10);
    assert_string_equal(out.data + out.length - 9, "xx\n; c d\n");
    tt_text_free(&input);
    tt_text_free(&out);
}

static void copies_are_independent(void **state)
{
    (void)state;
    char *copy = tt_copy_string("hive"), *made = tt_format("%s-%03d", "take", 7);
    assert_string_equal(copy, "hive");
    assert_string_equal(made, "take-007");
    free(copy);
    free(made);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_text_grows_and_stays_terminated),
        cmocka_unit_test(a_failed_text_stays_failed),
        cmocka_unit_test(a_time_is_printed_in_hours_to_the_millisecond),
        cmocka_unit_test(times_are_read_as_spreadsheets_write_them),
        cmocka_unit_test(every_printed_time_is_read_back_the_same),
        cmocka_unit_test(numbers_take_a_point_or_a_comma),
        cmocka_unit_test(numbers_do_not_depend_on_the_locale),
        cmocka_unit_test(take_2_comes_before_take_10),
        cmocka_unit_test(the_order_of_names_is_total),
        cmocka_unit_test(the_nearest_name_is_found_or_none),
        cmocka_unit_test(only_well_formed_utf8_is_valid),
        cmocka_unit_test(what_steers_a_terminal_becomes_question_marks_and_words_stay),
        cmocka_unit_test(a_long_text_is_shown_cut_between_characters),
        cmocka_unit_test(text_is_wrapped_at_80_columns_and_words_stay_whole),
        cmocka_unit_test(copies_are_independent),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
