/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <unistd.h>

#include "base/file.h"
#include "base/settings.h"

/* One file of settings, given as text; true when it is taken. */
static bool read_text(const char *text, struct tt_settings *settings, struct tt_error *err)
{
    *err = (struct tt_error){0};
    tt_settings_default(settings);
    return tt_settings_read_ini_text(settings, text, strlen(text), "hive/tidytake.ini", NULL, err);
}

static void assert_taken(const char *text, struct tt_settings *settings)
{
    struct tt_error err;
    if (!read_text(text, settings, &err))
        fail_msg("%s", err.message);
}

static void assert_refused(const char *text, const char *message)
{
    struct tt_settings settings;
    struct tt_error err;
    assert_false(read_text(text, &settings, &err));
    assert_int_equal(err.kind, TT_ERROR_USAGE);
    assert_string_equal(err.message, message);
}

static void sections_keys_and_comments_are_read(void **state)
{
    (void)state;
    struct tt_settings settings;
    assert_taken(
        "; our film\n# about bees\n\n  [ gate ] ; noise\n\tdepth_db=12 # fan\nhum = 50\n[pauses]\nstay_ms\t=\t700\n"
        "longest_ms = 1200",
        &settings);
    assert_true(settings.gate.depth_db == 12);
    assert_int_equal(settings.gate.hum, TT_HUM_50);
    assert_true(settings.pauses.stay_ms == 700);
    assert_true(settings.pauses.longest_ms == 1200); /* no line end behind it */
}

static void a_comment_needs_a_blank_in_front(void **state)
{
    (void)state;
    struct tt_settings settings;
    assert_taken("[watch]\nthen = a;b#c ;d\n", &settings);
    assert_string_equal(settings.watch.then, "a;b#c");
    assert_taken("[watch]\nthen = ; nothing\n", &settings);
    assert_string_equal(settings.watch.then, "");
    assert_taken("[watch]\nthen =;x\n", &settings);
    assert_string_equal(settings.watch.then, ";x");
    assert_refused("[pauses]\nstay_ms = 700;\n",
                   "hive/tidytake.ini:2: [pauses] stay_ms = 700;: must be from 50 to 10000 ms");
}

static void quotes_keep_what_is_inside(void **state)
{
    (void)state;
    struct tt_settings settings;
    assert_taken("[watch]\nthen = \" a ;b \"\"c\"\" \" ; comment\n", &settings);
    assert_string_equal(settings.watch.then, " a ;b \"c\" ");
    assert_taken("[gate]\ndepth_db = \"12\"\n", &settings);
    assert_true(settings.gate.depth_db == 12);
    assert_refused("[watch]\nthen = \"a\n", "hive/tidytake.ini:2: a quote is opened and not closed; add \" at the end");
    assert_refused("[watch]\nthen = \"\"\"\n",
                   "hive/tidytake.ini:2: a quote is opened and not closed; add \" at the end");
    assert_refused("[watch]\nthen = \"a\"b\n",
                   "hive/tidytake.ini:2: text behind the closing quote; write \"\" for a quote inside");
    assert_refused("[watch]\nthen = \"a\";b\n",
                   "hive/tidytake.ini:2: text behind the closing quote; write \"\" for a quote inside");
}

static void windows_files_are_read(void **state)
{
    (void)state;
    struct tt_settings settings;
    assert_taken("\xEF\xBB\xBF[gate]\r\ndepth_db = 12,5\r\n\r\n[report]\r\npage = no", &settings);
    assert_true(settings.gate.depth_db == 12.5);
    assert_false(settings.report.page);
}

static void of_two_lines_with_one_key_the_later_wins(void **state)
{
    (void)state;
    struct tt_settings settings;
    assert_taken("[gate]\ndepth_db = 1\ndepth_db = 2\n[pauses]\n[gate]\ndepth_db = 3\n", &settings);
    assert_true(settings.gate.depth_db == 3);
}

static void a_fault_names_file_line_and_remedy(void **state)
{
    (void)state;
    assert_refused("[gate]\ndept_db = 3\n", "hive/tidytake.ini:2: [gate] dept_db: no such key; did you mean depth_db?");
    assert_refused("[gate]\n\ndepth_db = 300\n", "hive/tidytake.ini:3: [gate] depth_db = 300: must be from 0 to 60 dB");
    assert_refused("[gate]\ndepth_db = \n", "hive/tidytake.ini:2: [gate] depth_db = : must be from 0 to 60 dB");
    assert_refused("[gates]\n", "hive/tidytake.ini:1: [gates]: no such section; did you mean [gate]?");
    assert_refused("[]\n",
                   "hive/tidytake.ini:1: []: no such section; there are take, floor, gate, misreads, pauses, breaths, "
                   "loudness, deliver, report, watch");
    assert_refused("[gate]\nsoften_db = 3\n",
                   "hive/tidytake.ini:2: [gate] soften_db: no such key here; it belongs in [breaths]");
    assert_refused("depth_db = 3\n[gate]\n",
                   "hive/tidytake.ini:1: 'depth_db' stands before the first [section]; put one above it");
    assert_refused("[gate]\ndepth_db 3\n", "hive/tidytake.ini:2: 'depth_db 3' has no '='; write KEY = VALUE");
    assert_refused("[gate]\ndepth_db ; = 3\n", "hive/tidytake.ini:2: 'depth_db' has no '='; write KEY = VALUE");
    assert_refused("[gate]\n = 3\n", "hive/tidytake.ini:2: no key before '='; write KEY = VALUE");
    assert_refused("[gate\ndepth_db = 3\n", "hive/tidytake.ini:1: the section's name is not closed; add ]");
    assert_refused("[gate] depth_db = 3\n",
                   "hive/tidytake.ini:1: text behind the section's name; begin a new line for it");
}

static void of_several_faults_the_first_is_reported(void **state)
{
    (void)state;
    assert_refused("[gate]\nhum = 55\nxyz\n\xFF\n",
                   "hive/tidytake.ini:2: [gate] hum = 55: must be auto, off, 50 or 60");
}

static void bytes_that_are_no_text_are_refused(void **state)
{
    (void)state;
    struct tt_settings settings;
    struct tt_error err = {0};
    tt_settings_default(&settings);
    assert_false(tt_settings_read_ini_text(&settings, "[gate]\n\0x", 9, "f", NULL, &err));
    assert_string_equal(err.message, "f:2: this is not a text; save it as plain text in UTF-8");
    assert_refused("[gate]\n; \xE9t\xE9\n", "hive/tidytake.ini:2: not UTF-8; save the file as plain text in UTF-8");
    assert_refused("[gate]\nhum \x1b= 50\n",
                   "hive/tidytake.ini:2: a control character (byte 0x1B) in column 5; take it out");
    assert_refused("[gate]\rhum = 50\n",
                   "hive/tidytake.ini:1: a control character (byte 0x0D) in column 7; take it out");
}

static void a_line_may_be_of_any_length(void **state)
{
    (void)state;
    size_t size = 500000;
    char *text = malloc(size);
    assert_non_null(text);
    memset(text, 'x', size);
    memcpy(text, "[gate]\n; ", 9);
    memcpy(text + size - 16, "\ndepth_db = 2\nzz", 16);
    struct tt_settings settings;
    struct tt_error err = {0};
    tt_settings_default(&settings);
    assert_false(tt_settings_read_ini_text(&settings, text, size, "f", NULL, &err));
    assert_string_equal(err.message, "f:4: 'zz' has no '='; write KEY = VALUE");
    assert_true(settings.gate.depth_db == 2);
    memcpy(text, "[gate]\nx=", 9); /* the same as a key's value: a message, not a crash */
    err = (struct tt_error){0};
    assert_false(tt_settings_read_ini_text(&settings, text, size, "f", NULL, &err));
    assert_string_equal(err.message, "f:2: [gate] x: no such key; there are depth_db, hum, keep_faint_db");
    free(text);
}

static void a_room_tone_lies_beside_the_file_that_names_it(void **state)
{
    (void)state;
    struct tt_settings settings;
    struct tt_error err = {0};
    assert_taken("[floor]\nroom_tone = tones/room.wav\n", &settings);
    assert_string_equal(settings.floor.room_tone, "hive/tones/room.wav");
    assert_taken("[floor]\nroom_tone = /tones/room.wav\n", &settings);
    assert_string_equal(settings.floor.room_tone, "/tones/room.wav");
    assert_taken("[floor]\nroom_tone = auto\n", &settings);
    assert_string_equal(settings.floor.room_tone, "auto");
    assert_refused("[floor]\nroom_tone =\n",
                   "hive/tidytake.ini:2: [floor] room_tone = : must be a text of 1 to 1023 bytes");
    static const char plain[] = "[floor]\nroom_tone = room.wav";
    assert_true(tt_settings_read_ini_text(&settings, plain, strlen(plain), "tidytake.ini", NULL, &err));
    assert_string_equal(settings.floor.room_tone, "room.wav");
}

static void a_file_is_read_from_its_path(void **state)
{
    (void)state;
    char folder[] = "/tmp/tidytake-ini-XXXXXX";
    struct tt_settings settings;
    struct tt_error err = {0};
    assert_non_null(mkdtemp(folder));
    char *path = tt_path_join(folder, "ruche.ini");
    assert_true(tt_file_write(path, "[gate]\nhum = off\n", 17, &err));
    tt_settings_default(&settings);
    struct tt_setting_origins *origins = calloc(1, sizeof *origins);
    assert_non_null(origins);
    assert_true(tt_settings_read_ini(&settings, path, origins, &err));
    assert_int_equal(settings.gate.hum, TT_HUM_OFF);
    size_t count, named = 0;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++) {
        if (!origins->from[i][0])
            continue;
        named++;
        assert_string_equal(rows[i].key, "hum");
        assert_non_null(strstr(origins->from[i], "ruche.ini:2"));
    }
    assert_int_equal(named, 1);
    free(origins);
    unlink(path);
    assert_false(tt_settings_read_ini(&settings, path, NULL, &err));
    assert_int_equal(err.kind, TT_ERROR_USAGE);
    assert_non_null(strstr(err.message, "ruche.ini: cannot be read: No such file"));
    free(path);
    rmdir(folder);
}

/* Numerical Recipes' ranqd1 constants: any spread of bytes will do. */
static unsigned next_random(unsigned *random)
{
    *random = *random * 1664525u + 1013904223u;
    return *random >> 16;
}

/* Pieces of settings, and single bytes, in any order; the size. */
static size_t make_nonsense(unsigned *random, char text[256])
{
    static const char *const pieces[] = {"[gate]\n",
                                         "[deliver]\r\n",
                                         "depth_db = ",
                                         "start=",
                                         "12",
                                         "\"",
                                         "\"\"",
                                         ";",
                                         "#",
                                         " ",
                                         "\n",
                                         "=",
                                         "[",
                                         "]",
                                         "\xEF\xBB\xBF",
                                         "\xC3\xA9",
                                         "\xC3",
                                         "\t",
                                         "\r",
                                         "01:00:00:00",
                                         "1e9",
                                         "room_tone="};
    size_t size = 0, wanted = next_random(random) % 120;
    while (size < wanted) {
        const char *piece = pieces[next_random(random) % (sizeof pieces / sizeof *pieces)];
        if (next_random(random) % 16 == 0)
            text[size++] = (char)next_random(random);
        memcpy(text + size, piece, strlen(piece));
        size += strlen(piece);
    }
    return size;
}

static void no_bytes_whatever_bring_it_down(void **state)
{
    (void)state;
    unsigned random = 7;
    int taken = 0;
    for (int round = 0; round < 20000; round++) {
        char text[256];
        const size_t size = make_nonsense(&random, text);
        char *exact = malloc(size ? size : 1); /* so that a sanitizer sees one byte too far */
        assert_non_null(exact);
        memcpy(exact, text, size);
        struct tt_settings settings;
        struct tt_error err = {0};
        tt_settings_default(&settings);
        bool is_taken = tt_settings_read_ini_text(&settings, exact, size, "f", NULL, &err);
        taken += is_taken;
        assert_int_equal(err.kind, is_taken ? TT_OK : TT_ERROR_USAGE);
        assert_true(is_taken || strncmp(err.message, "f:", 2) == 0);
        assert_in_range(settings.gate.depth_db, 0, 60);
        free(exact);
    }
    assert_in_range(taken, 100, 19000); /* both ways were gone */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sections_keys_and_comments_are_read),
        cmocka_unit_test(a_comment_needs_a_blank_in_front),
        cmocka_unit_test(quotes_keep_what_is_inside),
        cmocka_unit_test(windows_files_are_read),
        cmocka_unit_test(of_two_lines_with_one_key_the_later_wins),
        cmocka_unit_test(a_fault_names_file_line_and_remedy),
        cmocka_unit_test(of_several_faults_the_first_is_reported),
        cmocka_unit_test(bytes_that_are_no_text_are_refused),
        cmocka_unit_test(a_line_may_be_of_any_length),
        cmocka_unit_test(a_room_tone_lies_beside_the_file_that_names_it),
        cmocka_unit_test(a_file_is_read_from_its_path),
        cmocka_unit_test(no_bytes_whatever_bring_it_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
