/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Which rows of a saved sheet are a person's, and what is refused. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include <cmocka.h>

#include "sheet_support.h"
#include "sheet/row_id.h"

/* ---- edits of a text ---- */

/* The text with the first `from` made `to`; takes over the old one. */
static char *with(char *text, const char *from, const char *to)
{
    char *at = strstr(text, from);
    if (!at)
        fail_msg("'%s' is not in the sheet", from);
    char *made = tt_format("%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    free(text);
    return made;
}

static char *decided_text(void)
{
    struct tt_sheet sheet = decided_sheet();
    char *text = written(&sheet);
    tt_sheet_free(&sheet);
    return text;
}

static size_t persons_in(char *text)
{
    struct tt_sheet sheet = new_sheet();
    size_t count = read_rows(&sheet, text);
    tt_sheet_free(&sheet);
    free(text);
    return count;
}

enum spreadsheet { SHOWS_SECONDS, SHOWS_TENTHS, SHOWS_HUNDREDTHS, SHOWS_MILLISECONDS };

/* As a spreadsheet writes a time: rounded or cut off, with or without hours. */
static void show_time(struct tt_text *out, int64_t ms, enum spreadsheet shows, bool rounds, bool has_hours, char mark)
{
    static const int steps[] = {1000, 100, 10, 1};
    int step = steps[shows];
    int64_t units = (ms + (rounds ? step / 2 : 0)) / step, seconds = units / (1000 / step),
            part = units % (1000 / step);
    if (has_hours)
        tt_text_addf(out, "%d:", (int)(seconds / 3600));
    tt_text_addf(out, "%02d:%02d", (int)(seconds / 60 % 60), (int)(seconds % 60));
    if (shows)
        tt_text_addf(out, "%c%0*d", mark, (int)shows, (int)part);
}

/* The sheet as saved by a spreadsheet; semicolons with a decimal comma. */
static char *resaved(const struct tt_sheet *sheet, enum spreadsheet shows, bool rounds, bool has_hours, bool has_comma)
{
    struct tt_text out = {0};
    char d = has_comma ? ';' : ',', mark = has_comma ? ',' : '.';
    tt_text_addf(&out, "\xEF\xBB\xBFtake%cid%cstart%cend%ckind%cproposed%caction%camount%cconfidence%cby%cnote\n", d, d,
                 d, d, d, d, d, d, d, d);
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        tt_text_addf(&out, "%s%c%s%c", sheet->take, d, row->id, d);
        show_time(&out, row->start_ms, shows, rounds, has_hours, mark);
        tt_text_addf(&out, "%c", d);
        show_time(&out, row->end_ms, shows, rounds, has_hours, mark);
        tt_text_addf(&out, "%c%s%c%s%c%s%c", d, tt_row_kind_name(row->kind), d, tt_row_action_name(row->proposed), d,
                     tt_row_action_name(row->action), d);
        /* A number loses the zeros at its end. */
        char amount[32] = "";
        if (!isnan(row->amount))
            snprintf(amount, sizeof amount, "%g", row->amount);
        for (char *c = amount; *c; c++)
            if (*c == '.')
                *c = mark;
        tt_text_addf(&out, "%s%c%s%c%s%c\n", amount, d, has_comma ? "0,98" : "0.98", d, row->is_persons ? "me" : "", d);
    }
    return out.data;
}

/* ---- a person's rows ---- */

static void rows_that_nobody_touched_are_the_programs(void **state)
{
    (void)state;
    assert_int_equal(persons_in(decided_text()), 0);
}

static void a_spreadsheets_rounding_makes_no_row_a_persons(void **state)
{
    (void)state;
    /* Pseudo-random rows, from Knuth's linear congruence (MMIX), so that every cell of a second is met. */
    uint64_t random = 1;
    struct tt_sheet sheet = new_sheet();
    for (int i = 0; i < 299; i++) {
        int64_t start =
            400 * i + (int64_t)((random = random * UINT64_C(6364136223846793005) + 1442695040888963407U) >> 33) % 150;
        int64_t end =
            start + 1 + (int64_t)((random = random * UINT64_C(6364136223846793005) + 1442695040888963407U) >> 33) % 240;
        propose(&sheet, start, end, i % 3 ? TT_ROW_BREATH : TT_ROW_PAUSE, i % 3 ? TT_DO_SOFTEN : TT_DO_SHORTEN,
                i % 3 ? 12 : 0.001 * i);
    }
    seal(&sheet);
    for (int variant = 0; variant < 32; variant++)
        assert_int_equal(
            persons_in(resaved(&sheet, (enum spreadsheet)(variant & 3), variant & 4, variant & 8, variant & 16)), 0);
    /* An edited action is seen in every one of them, however coarse the times are. */
    for (size_t i = 0; i < sheet.count; i++)
        sheet.rows[i].action = TT_DO_KEEP;
    for (int variant = 0; variant < 32; variant++)
        assert_int_equal(
            persons_in(resaved(&sheet, (enum spreadsheet)(variant & 3), variant & 4, variant & 8, variant & 16)),
            sheet.count);
    tt_sheet_free(&sheet);
}

static void hours_that_a_spreadsheet_drops_are_found_again(void **state)
{
    (void)state;
    struct tt_sheet sheet = new_sheet(), again = new_sheet();
    struct tt_error err = {0};
    size_t count;
    propose(&sheet, 3599300, 3601200, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.7);
    propose(&sheet, 7261430, 7262105, TT_ROW_BREATH, TT_DO_SOFTEN, 12);
    seal(&sheet);
    sheet.rows[1].is_persons = true;
    char *text = resaved(&sheet, SHOWS_TENTHS, true, false, false);
    if (!tt_sheet_read(&again, text, strlen(text), "03.csv", 7300000, &count, &err))
        fail_msg("%s", err.message);
    assert_int_equal(count, 1);
    assert_true(again.rows[0].start_ms == 7261400 && again.rows[0].end_ms == 7262100);
    free(text);
    tt_sheet_free(&sheet);
    tt_sheet_free(&again);
}

static void an_edited_action_is_a_persons(void **state)
{
    (void)state;
    static const struct {
        const char *from, *to;
    } edits[] = {
        {"misread,cut,cut", "misread,cut,keep"},
        {"misread,cut,cut", "misread,cut,Choose "},
        {"talk,cut,cut", "talk,cut,ask"},
        {"pause,shorten,shorten", "pause,shorten,KEEP"},
        {"breath,soften,soften", "breath,soften,cut"},
        {"noise,ask,ask", "noise,ask,keep"},
        {"click,soften", "breath,soften"},
        {"0.899", "0.9"},
        {"12.0", "6"},
        {"12.250", "12.251"},
        {"0.98,,", "0.98,me,"},
        {"0.98,,", "0.98, ME ,"},
    };
    for (size_t i = 0; i < sizeof edits / sizeof *edits; i++)
        assert_int_equal(persons_in(with(decided_text(), edits[i].from, edits[i].to)), 1);
}

static void other_ways_of_writing_the_same_are_no_edits(void **state)
{
    (void)state;
    static const struct {
        const char *from, *to;
    } edits[] = {
        {"00:00:12.430", "0:12.43"},
        {"00:00:12.430", "\"12,430\""},
        {"00:00:12.430", "12.43"},
        {"0.899", "\"0,899\""},
        {"12.0,", "12,"},
        {"misread,cut,cut", "Misread,CUT, cut"},
        {"m1-3fa2c1", "m1-3FA2C1"},
        {"03.wav", ""},
        {"0.98,,", "0.5,,"},
    };
    for (size_t i = 0; i < sizeof edits / sizeof *edits; i++)
        assert_int_equal(persons_in(with(decided_text(), edits[i].from, edits[i].to)), 0);
}

static void an_id_is_read_as_it_was_given(void **state)
{
    (void)state;
    struct tt_row row = {
        .start_ms = 12430, .end_ms = 17105, .kind = TT_ROW_MISREAD, .action = TT_DO_CUT, .amount = NAN};
    static const char *const none[] = {"",
                                       "m",
                                       "m1",
                                       "mm-3fa2c1-1234",
                                       "x1-3fa2c1-1234",
                                       "m10000000-3fa2c1-1234",
                                       "m1-3fa2c-1234",
                                       "m1-3fa2cg-1234",
                                       "m1-3fa2c1-123",
                                       "m1-3fa2c1-12345",
                                       "m1-3fa2c1-123x",
                                       "1-3fa2c1-1234"};
    struct row_id id;
    row_id_give(&row, 40312, "3fa2c1");
    assert_true(row_id_parse(row.id, &id));
    assert_int_equal(id.number, 40312);
    assert_int_equal(id.letter, 'm');
    assert_string_equal(id.content6, "3fa2c1");
    for (size_t i = 0; i < sizeof none / sizeof *none; i++)
        if (row_id_parse(none[i], &id))
            fail_msg("'%s' passed for an id", none[i]);
}

static void a_time_moved_by_50_ms_is_a_persons(void **state)
{
    (void)state;
    struct tt_row row = {
        .start_ms = 12430, .end_ms = 17105, .kind = TT_ROW_MISREAD, .action = TT_DO_CUT, .amount = NAN};
    struct row_id id;
    int missed = 0;
    row_id_give(&row, 1, "3fa2c1");
    assert_true(row_id_parse(row.id, &id) && row_id_fits(id.check, &row, 0));
    for (int move = 17; move < 430; move++) {
        struct tt_row start_moved = row, end_moved = row, shifted = row;
        start_moved.start_ms -= move;
        end_moved.end_ms += move;
        shifted.start_ms += move;
        shifted.end_ms += move;
        missed += row_id_fits(id.check, &start_moved, 0) + row_id_fits(id.check, &end_moved, 0) +
                  (move >= 34 && row_id_fits(id.check, &shifted, 0));
    }
    assert_int_equal(missed, 0);
    for (int start = -430; start < 570; start += 3)
        for (int end = -105; end < 895; end += 3) {
            struct tt_row moved = row;
            moved.start_ms += start;
            moved.end_ms += end;
            missed += (start < -17 || start > 17 || end < -17 || end > 17) && row_id_fits(id.check, &moved, 0);
        }
    assert_in_range(missed, 0, 334 * 334 / 50); /* 1 in 61 is expected */
    missed = 0;
    /* Across seconds it is a matter of 16 bits: of 40000 moves one or two may be missed. */
    for (int move = 1000; move < 41000; move++) {
        struct tt_row moved = row;
        moved.end_ms += move;
        missed += row_id_fits(id.check, &moved, 0);
    }
    assert_in_range(missed, 0, 6);
}

static void amounts_edited_in_a_rounded_sheet_are_seen(void **state)
{
    (void)state;
    struct tt_row row = {
        .start_ms = 31020, .end_ms = 33410, .kind = TT_ROW_PAUSE, .action = TT_DO_SHORTEN, .amount = 0.899};
    struct row_id id;
    int missed = 0;
    row_id_give(&row, 4, "3fa2c1");
    assert_true(row_id_parse(row.id, &id));
    row.start_ms = 31000;
    row.end_ms = 33000;
    assert_true(row_id_fits(id.check, &row, 1000));
    for (int amount = 0; amount < 10000; amount++) {
        row.amount = 0.001 * amount;
        missed += amount != 899 && row_id_fits(id.check, &row, 1000);
    }
    /* Four readings of 1024 values: 0.4 % are expected. */
    assert_in_range(missed, 0, 80);
}

static void rows_without_an_id_are_a_persons(void **state)
{
    (void)state;
    struct tt_sheet sheet = new_sheet();
    assert_int_equal(read_rows(&sheet, HEADER "03.wav,,00:01:05.000,,gap,,open,4.000,,,\r\n03.wav,,65,70,Other,,cut,,,,"
                                              "\"a, b\"\r\n03.wav,,0:10,0:10,label,,keep,,,,'=x\r\n"),
                     3);
    assert_true(sheet.rows[0].kind == TT_ROW_GAP && sheet.rows[0].start_ms == 65000 && sheet.rows[0].end_ms == 65000 &&
                sheet.rows[0].amount == 4);
    assert_true(sheet.rows[0].proposed == TT_DO_OPEN && sheet.rows[0].is_persons && isnan(sheet.rows[0].confidence));
    assert_true(sheet.rows[1].start_ms == 65000 && sheet.rows[1].end_ms == 70000);
    assert_string_equal(sheet.rows[1].note, "a, b");
    assert_string_equal(sheet.rows[2].note, "=x");
    tt_sheet_free(&sheet);
}

static void a_short_time_typed_into_an_exact_sheet_is_an_edit(void **state)
{
    (void)state;
    assert_int_equal(persons_in(with(decided_text(), "00:00:17.105,mis", "0:17,mis")), 1);
}

static void columns_may_be_moved_and_added(void **state)
{
    (void)state;
    struct tt_sheet sheet = new_sheet();
    assert_int_equal(
        read_rows(&sheet, "mine;Action;kind;end;start;by;amount;id;take\nx;cut;other;1:10,5;1:05;;;;03.wav\n"), 1);
    assert_true(sheet.rows[0].start_ms == 65000 && sheet.rows[0].end_ms == 70500);
    assert_string_equal(sheet.rows[0].note, "");
    tt_sheet_free(&sheet);
}

/* ---- what is refused ---- */

static void expect_refusal(const char *text, size_t size, const char *message)
{
    struct tt_sheet sheet = new_sheet();
    struct tt_error err = {0};
    size_t count = 9;
    assert_false(tt_sheet_read(&sheet, text, size, "sheets/03.csv", TAKE_MS, &count, &err));
    if (!strstr(err.message, message))
        fail_msg("'%s' does not hold '%s'", err.message, message);
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    assert_int_equal(sheet.count, 0);
    assert_int_equal(count, 0);
    tt_sheet_free(&sheet);
}

static void refused_rows_say_where_and_what_is_allowed(void **state)
{
    (void)state;
    static const struct {
        const char *row, *message;
    } cases[] = {
        {"03.wav,,1,2,misred,,cut,,,,", "sheets/03.csv:3:5: kind 'misred' is unknown; it is one of misread, talk, "
                                        "pause, breath, click, noise, gap, label, other; did you mean misread?"},
        {"03.wav,,1,2,cut,,,,,,",
         "sheets/03.csv:3:5: kind 'cut' is unknown; it is one of misread, talk, pause, breath, "
         "click, noise, gap, label, other; a part of your own is of kind other, and"},
        {"03.wav,,1,2,,,cut,,,,", "label, other; a part of your own is of kind other, and"},
        {"03.wav,,1,2,misread,,kut,,,,", "sheets/03.csv:3:7: action 'kut' does not go with misread; allowed: cut, ask, "
                                         "keep, choose; did you mean cut?"},
        {"03.wav,,1,2,breath,,ask,,,,",
         "sheets/03.csv:3:7: action 'ask' does not go with breath; allowed: cut, keep, soften"},
        {"03.wav,,1,2,other,,,,,,", "sheets/03.csv:3:7: action '' does not go with other; allowed: cut, keep"},
        {"03.wav,,1,2,other,x,cut,,,,", "sheets/03.csv:3:6: proposed 'x'"},
        {"03.wav,,abc,2,other,,cut,,,,", "sheets/03.csv:3:3: start 'abc' is no time; write it as 0:01:05.250"},
        {"03.wav,,1,,other,,cut,,,,", "sheets/03.csv:3:4: end '' is no time"},
        {"03.wav,,2,1,other,,cut,,,,", "sheets/03.csv:3:4: end '1' must lie behind start '2'"},
        {"03.wav,,2.000,2.000,other,,cut,,,,", "sheets/03.csv:3:4: end '2.000' must lie behind start '2.000'"},
        {"03.wav,,1,121.001,other,,cut,,,,",
         "sheets/03.csv:3:4: end '121.001' lies behind the end of the take (00:02:00.000); write an earlier time"},
        {"03.wav,,-1,2,other,,cut,,,,", "sheets/03.csv:3:3: start '-1' is no time"},
        {"03.wav,,1,2,pause,,shorten,,,,", "sheets/03.csv:3:8: shorten needs an amount: seconds that stay"},
        {"03.wav,,1,2,breath,,soften,,,,", "sheets/03.csv:3:8: soften needs an amount: dB"},
        {"03.wav,,1,,gap,,open,,,,", "sheets/03.csv:3:8: open needs an amount: seconds"},
        {"03.wav,,1,2,pause,,shorten,much,,,", "sheets/03.csv:3:8: amount 'much' must be a number from 0 to 86400"},
        {"03.wav,,1,,gap,,open,3601,,,",
         "sheets/03.csv:3:8: a gap of 3601 seconds: an hour (3600) is the most that can be opened"},
        {"03.wav,,12,430,17,105,other,,cut,,,,", "sheets/03.csv:3:3: this row has more cells than the first: commas "
                                                 "stand between the cells and in the numbers; "
                                                 "save the sheet with semicolons"},
        {"03.wav,,1,2,pause,,shorten,-1,,,", "sheets/03.csv:3:8: amount '-1' must be a number"},
        {"03.wav,,1,2,breath,,soften,nan,,,", "sheets/03.csv:3:8: amount 'nan' must be a number"},
        {"03.wav,,1,2,other,,cut,,2,,", "sheets/03.csv:3:9: confidence '2' must be a number from 0 to 1"},
        {"03.wav,,1,2,other,,cut,,,bob,", "sheets/03.csv:3:10: by 'bob' is unknown; write me"},
        {"03.wav,hello,1,2,other,,cut,,,,", "sheets/03.csv:3:2: id 'hello' is none of ours"},
        {"03.wav,m1-3fa2c1-7d2,1,2,misread,,cut,,,,", "sheets/03.csv:3:2: id 'm1-3fa2c1-7d2' is none of ours"},
        {"03.wav,m1-aaaaaa-7d20,1,2,misread,,cut,,,,",
         "sheets/03.csv:3:2: the sheet is of another recording: the id says aaaaaa, '03.wav' is 3fa2c1 now"},
        {"04.wav,,1,2,other,,cut,,,,", "sheets/03.csv:3:1: the sheet is of another recording: this row is of '04.wav'"},
        {"03.wav,,1,2,other,,cut,,,,a note, unquoted", "sheets/03.csv:3:12: more cells than columns"},
        {"03.wav,,1,2,other,,cut,,,,caf\xE9", "sheets/03.csv:3:11: not UTF-8"},
        {"03.wav,,1,2,other,,cut,,,,\"open", "sheets/03.csv:3:11: the quote"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *text = tt_format("%s03.wav,,1.000,2.000,other,,keep,,,,\r\n%s\r\n", HEADER, cases[i].row);
        expect_refusal(text, strlen(text), cases[i].message);
        free(text);
    }
    static const char nul[] = HEADER "03.wav,,1,2,other,,cut,,,,a\0b\n";
    expect_refusal(nul, sizeof nul - 1, "sheets/03.csv:2:11: this is not a text");
    expect_refusal("take,id,start,end,kind,action,amount\n", 37, "sheets/03.csv:1:1: the column 'by' is missing");
    expect_refusal("", 0, "sheets/03.csv:1:1: the sheet is empty");
}

static void a_time_rounded_past_the_end_is_the_end(void **state)
{
    (void)state;
    struct tt_sheet sheet = new_sheet();
    read_rows(&sheet, HEADER "03.wav,,119.000,120.001,other,,cut,,,,\r\n");
    assert_int_equal(sheet.rows[0].end_ms, TAKE_MS);
    tt_sheet_free(&sheet);
}

static void very_long_notes_are_kept_whole(void **state)
{
    (void)state;
    size_t length = 3000000;
    char *note = malloc(length + 1);
    assert_non_null(note);
    for (size_t i = 0; i < length; i++)
        note[i] = "ab,\"\n;"[i % 6];
    note[length] = '\0';
    struct tt_sheet sheet = new_sheet(), again = new_sheet();
    struct tt_row row = {.start_ms = 1,
                         .end_ms = 900,
                         .kind = TT_ROW_OTHER,
                         .action = TT_DO_CUT,
                         .proposed = TT_DO_CUT,
                         .amount = NAN,
                         .confidence = NAN,
                         .note = note};
    struct tt_error err = {0};
    assert_true(tt_sheet_propose(&sheet, &row, &err));
    sheet.rows[0].is_persons = true;
    seal(&sheet);
    char *text = written(&sheet);
    assert_int_equal(read_rows(&again, text), 1);
    assert_string_equal(again.rows[0].note, note);
    free(text);
    free(note);
    tt_sheet_free(&sheet);
    tt_sheet_free(&again);
}

static void a_take_with_a_wild_name_reads_its_own_sheet(void **state)
{
    (void)state;
    static const char *const names[] = {"=take;1,\"a\".wav", "caf\xE9.wav", "a\nb.wav",   "-1.wav",
                                        "'@x.wav",           " x .wav",     "\x1B[2J.wav"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        struct tt_sheet sheet, again;
        struct tt_error err = {0};
        assert_true(tt_sheet_start(&sheet, names[i], content, &err) && tt_sheet_start(&again, names[i], content, &err));
        propose(&sheet, 100, 200, TT_ROW_TALK, TT_DO_CUT, NAN);
        seal(&sheet);
        char *text = written(&sheet);
        assert_int_equal(read_rows(&again, text), 0);
        free(text);
        tt_sheet_free(&sheet);
        tt_sheet_free(&again);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_that_nobody_touched_are_the_programs),
        cmocka_unit_test(a_spreadsheets_rounding_makes_no_row_a_persons),
        cmocka_unit_test(hours_that_a_spreadsheet_drops_are_found_again),
        cmocka_unit_test(an_edited_action_is_a_persons),
        cmocka_unit_test(other_ways_of_writing_the_same_are_no_edits),
        cmocka_unit_test(an_id_is_read_as_it_was_given),
        cmocka_unit_test(a_time_moved_by_50_ms_is_a_persons),
        cmocka_unit_test(amounts_edited_in_a_rounded_sheet_are_seen),
        cmocka_unit_test(rows_without_an_id_are_a_persons),
        cmocka_unit_test(a_short_time_typed_into_an_exact_sheet_is_an_edit),
        cmocka_unit_test(columns_may_be_moved_and_added),
        cmocka_unit_test(refused_rows_say_where_and_what_is_allowed),
        cmocka_unit_test(a_time_rounded_past_the_end_is_the_end),
        cmocka_unit_test(very_long_notes_are_kept_whole),
        cmocka_unit_test(a_take_with_a_wild_name_reads_its_own_sheet),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
