/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rules and examples: RFC 4180, section 2. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sheet/csv.h"

static struct tt_csv opened(const char *text, size_t size)
{
    struct tt_csv csv;
    struct tt_error err = {0};
    if (!tt_csv_open(&csv, "list.csv", text, size, &err))
        fail_msg("%s", err.message);
    return csv;
}

static void expect_row(struct tt_csv *csv, size_t count, const char *const *cells)
{
    struct tt_error err = {0};
    bool has_row;
    if (!tt_csv_next(csv, &has_row, &err))
        fail_msg("%s", err.message);
    assert_true(has_row);
    assert_int_equal(csv->cell_count, count);
    for (size_t i = 0; i < count; i++)
        assert_string_equal(csv->cells[i].text, cells[i]);
}

static void expect_end(struct tt_csv *csv)
{
    struct tt_error err = {0};
    bool has_row;
    assert_true(tt_csv_next(csv, &has_row, &err));
    assert_false(has_row);
    tt_csv_close(csv);
}

static void expect_failure(const char *text, size_t size, const char *message)
{
    struct tt_csv csv = opened(text, size);
    struct tt_error err = {0};
    bool has_row = true, is_read = true;
    while (is_read && has_row)
        is_read = tt_csv_next(&csv, &has_row, &err);
    assert_false(is_read);
    assert_string_equal(err.message, message);
    tt_csv_close(&csv);
}

#define ROW(csv, ...)                                                                                                  \
    expect_row(csv, sizeof((const char *[]){__VA_ARGS__}) / sizeof(char *), (const char *[]){__VA_ARGS__})
#define TEXT(literal) literal, sizeof literal - 1

static void the_examples_of_rfc_4180_are_read(void **state)
{
    (void)state;
    struct tt_csv csv =
        opened(TEXT("aaa,bbb,ccc\r\n\"aaa\",\"b \r\nbb\",\"ccc\"\r\nzzz,yyy,xxx\r\n\"aaa\",\"b\"\"bb\",\"ccc\""));
    ROW(&csv, "aaa", "bbb", "ccc");
    ROW(&csv, "aaa", "b \r\nbb", "ccc");
    ROW(&csv, "zzz", "yyy", "xxx");
    assert_int_equal(csv.cells[0].line, 4);
    ROW(&csv, "aaa", "b\"bb", "ccc");
    expect_end(&csv);
}

static void semicolons_tabs_and_a_byte_order_mark_are_understood(void **state)
{
    (void)state;
    struct tt_csv csv = opened(TEXT("\xEF\xBB\xBF"
                                    "a;b\r\n1,5;2\r\n"));
    ROW(&csv, "a", "b");
    ROW(&csv, "1,5", "2");
    expect_end(&csv);
    csv = opened(TEXT("a\tb\n1,5\t2;3\n"));
    ROW(&csv, "a", "b");
    ROW(&csv, "1,5", "2;3");
    expect_end(&csv);
}

static void empty_rows_are_passed_over_and_lines_still_counted(void **state)
{
    (void)state;
    struct tt_csv csv = opened(TEXT("a,b\r\r\n,\n\n  ,\"\"\nx,\n"));
    ROW(&csv, "a", "b");
    ROW(&csv, "x", "");
    assert_int_equal(csv.cells[0].line, 6);
    expect_end(&csv);
}

static void errors_name_line_and_cell(void **state)
{
    (void)state;
    expect_failure(TEXT("a,b\n1,\"2\n"),
                   "list.csv:2:2: the quote that opens this cell is not closed; add \" at its end");
    expect_failure(TEXT("a,b\n1,\"2\" 3\n"),
                   "list.csv:2:2: text behind the closing quote; write a quote inside a cell twice");
    expect_failure(TEXT("a,b\n\n1,2\0\n"), "list.csv:3:2: this is not a text; save the sheet as CSV in UTF-8");
    expect_failure(TEXT("a,b\n\"x\ny\",\xE9t\xE9\n"), "list.csv:3:2: not UTF-8; save the sheet as CSV in UTF-8");
}

static void ill_formed_utf8_is_refused(void **state)
{
    (void)state;
    /* The Unicode Standard, table 3-7: overlong, surrogate, past U+10FFFF, cut short, lone trail. */
    static const char *const bad[] = {"\xC0\xAF",         "\xE0\x80\xAF", "\xED\xA0\x80", "\xF4\x90\x80\x80",
                                      "\xF0\x8F\xBF\xBF", "\xE2\x82",     "\x80",         "\xF5\x80\x80\x80"};
    static const char *const good[] = {"\xC2\x80",         "\xE0\xA0\x80",     "\xED\x9F\xBF",
                                       "\xF4\x8F\xBF\xBF", "\xF0\x90\x80\x80", "\xEF\xBF\xBF"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        expect_failure(bad[i], strlen(bad[i]), "list.csv:1:1: not UTF-8; save the sheet as CSV in UTF-8");
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        struct tt_csv csv = opened(good[i], strlen(good[i]));
        ROW(&csv, good[i]);
        expect_end(&csv);
    }
}

static void utf16_is_refused_with_advice(void **state)
{
    (void)state;
    struct tt_csv csv;
    struct tt_error err = {0};
    assert_false(tt_csv_open(&csv, "list.csv", TEXT("\xFF\xFEt\0a\0"), &err));
    assert_string_equal(err.message, "list.csv:1:1: the text is UTF-16; save it as CSV in UTF-8");
}

static void what_is_written_reads_back(void **state)
{
    (void)state;
    static const char *const cells[] = {"plain", "",    "a,b", "say \"no\"",  "two\r\nlines", " spaces ", "=1+1",
                                        "+1",    "-3",  "@x",  "\tx",         "'=1",          "''@",      "'tis",
                                        "'",     "1;2", "\nx", "caf\xC3\xA9", "\"",           "=\"a\""};
    size_t count = sizeof cells / sizeof *cells;
    struct tt_text out = {0};
    for (size_t i = 0; i < count; i++)
        tt_csv_add(&out, cells[i], i + 1 == count);
    struct tt_csv csv = opened(out.data, out.length);
    expect_row(&csv, count, cells);
    expect_end(&csv);
    tt_text_free(&out);
}

static void no_cell_is_written_as_a_formula(void **state)
{
    (void)state;
    struct tt_text out = {0};
    tt_csv_add(&out, "=cmd|'/c calc'!A1", false);
    tt_csv_add(&out, "-2", false);
    tt_csv_add(&out, "\t=1", false);
    tt_csv_add(&out, "'tis", true);
    assert_string_equal(out.data, "'=cmd|'/c calc'!A1,'-2,\"'\t=1\",'tis\r\n");
    tt_text_free(&out);
}

static void hostile_bytes_become_replacement_characters(void **state)
{
    (void)state;
    struct tt_text out = {0};
    tt_csv_add(&out, "caf\xE9\x1B[2J\x7F\xC2\x9B!", true);
    assert_string_equal(out.data, "caf\xEF\xBF\xBD\xEF\xBF\xBD[2J\xEF\xBF\xBD\xEF\xBF\xBD!\r\n");
    char *clean = tt_csv_clean("caf\xE9\x1B[2J\x7F\xC2\x9B!");
    assert_string_equal(clean, "caf\xEF\xBF\xBD\xEF\xBF\xBD[2J\xEF\xBF\xBD\xEF\xBF\xBD!");
    free(clean);
    tt_text_free(&out);
}

static void columns_come_in_any_order_and_strange_ones_are_ignored(void **state)
{
    (void)state;
    static const char *const names[] = {"take", "use", "piece"};
    static const bool is_needed[] = {true, true, false};
    int columns[3];
    struct tt_error err = {0};
    struct tt_csv csv = opened(TEXT(" Use ,mine,TAKE\nyes,x,03.wav\n"));
    assert_true(tt_csv_read_header(&csv, names, is_needed, 3, columns, &err));
    assert_int_equal(columns[0], 2);
    assert_int_equal(columns[1], 0);
    assert_int_equal(columns[2], -1);
    ROW(&csv, "yes", "x", "03.wav");
    assert_string_equal(tt_csv_text(&csv, columns[2]), "");
    assert_string_equal(tt_csv_text(&csv, columns[0]), "03.wav");
    expect_end(&csv);
}

static void missing_double_and_overlong_headers_are_errors(void **state)
{
    (void)state;
    static const char *const names[] = {"take", "use"};
    static const bool is_needed[] = {true, true};
    static const struct {
        const char *text, *message;
    } cases[] = {
        {"take,note\n", "list.csv:1:1: the column 'use' is missing; the first row must name the columns"},
        {"take,use,Take\n", "list.csv:1:3: the column 'take' is there twice; take one of them out"},
        {"\n\n", "list.csv:1:1: the sheet is empty; its first row must name the columns"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        int columns[2];
        struct tt_error err = {0};
        struct tt_csv csv = opened(cases[i].text, strlen(cases[i].text));
        assert_false(tt_csv_read_header(&csv, names, is_needed, 2, columns, &err));
        assert_string_equal(err.message, cases[i].message);
        tt_csv_close(&csv);
    }
    struct tt_csv csv = opened(TEXT("a,b\n1,2,,\n1,2,3\n"));
    struct tt_error err = {0};
    bool has_row;
    assert_true(tt_csv_next(&csv, &has_row, &err) && tt_csv_next(&csv, &has_row, &err) &&
                tt_csv_check_length(&csv, 2, &err));
    assert_true(tt_csv_next(&csv, &has_row, &err));
    assert_false(tt_csv_check_length(&csv, 2, &err));
    assert_string_equal(err.message,
                        "list.csv:3:3: more cells than columns; a text with ',' in it needs quotes around it");
    tt_csv_close(&csv);
}

static void a_row_without_end_is_refused(void **state)
{
    (void)state;
    size_t size = 20000;
    char *text = malloc(size);
    assert_non_null(text);
    memset(text, ',', size);
    expect_failure(text, size, "list.csv:1:16385: too many cells in one row; is this the right file?");
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_examples_of_rfc_4180_are_read),
        cmocka_unit_test(semicolons_tabs_and_a_byte_order_mark_are_understood),
        cmocka_unit_test(empty_rows_are_passed_over_and_lines_still_counted),
        cmocka_unit_test(errors_name_line_and_cell),
        cmocka_unit_test(ill_formed_utf8_is_refused),
        cmocka_unit_test(utf16_is_refused_with_advice),
        cmocka_unit_test(what_is_written_reads_back),
        cmocka_unit_test(no_cell_is_written_as_a_formula),
        cmocka_unit_test(hostile_bytes_become_replacement_characters),
        cmocka_unit_test(columns_come_in_any_order_and_strange_ones_are_ignored),
        cmocka_unit_test(missing_double_and_overlong_headers_are_errors),
        cmocka_unit_test(a_row_without_end_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
