/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/setting_row.h"

static bool set(struct tt_settings *settings, const char *assignment, struct tt_error *err)
{
    *err = (struct tt_error){0};
    return tt_settings_set_assignment(settings, assignment, NULL, err);
}

static void assert_set(struct tt_settings *settings, const char *assignment)
{
    struct tt_error err;
    if (!set(settings, assignment, &err))
        fail_msg("%s", err.message);
}

static void assert_refused(const char *assignment, const char *message)
{
    struct tt_settings settings, before;
    struct tt_error err;
    tt_settings_default(&settings);
    tt_settings_default(&before);
    assert_false(set(&settings, assignment, &err));
    assert_int_equal(err.kind, TT_ERROR_USAGE);
    assert_string_equal(err.message, message);
    assert_memory_equal(&settings, &before, sizeof settings);
}

/* What the program promises when nothing is set: the defaults of the manual. */
static void the_defaults_are_those_of_the_manual(void **state)
{
    (void)state;
    static const char *const defaults[][3] = {
        {"take", "channel", "auto"},
        {"take", "highpass_hz", "70"},
        {"floor", "room_tone", "auto"},
        {"floor", "window_s", "20"},
        {"gate", "depth_db", "15"},
        {"gate", "hum", "auto"},
        {"gate", "keep_faint_db", "0"},
        {"misreads", "action", "cut"},
        {"misreads", "confidence", "0.97"},
        {"misreads", "look_back_s", "120"},
        {"misreads", "talk", "ask"},
        {"misreads", "talk_most_s", "8"},
        {"misreads", "knock", "off"},
        {"pauses", "stay_ms", "600"},
        {"pauses", "longest_ms", "900"},
        {"pauses", "edge_ms", "250"},
        {"pauses", "between_ms", "700"},
        {"pauses", "keep_from_s", "0"},
        {"breaths", "soften_db", "12"},
        {"loudness", "aim", "lufs"},
        {"loudness", "target_lufs", "-16"},
        {"loudness", "target_rms_dbfs", "-20"},
        {"loudness", "ceiling_dbtp", "-1"},
        {"loudness", "across", "session"},
        {"loudness", "limit_most_db", "6"},
        {"loudness", "even_db", "0"},
        {"deliver", "channels", "mono"},
        {"deliver", "format", "wav"},
        {"deliver", "bits", "24"},
        {"deliver", "rate_hz", "keep"},
        {"deliver", "frame_rate", "25"},
        {"deliver", "start", "01:00:00:00"},
        {"deliver", "narration", "yes"},
        {"deliver", "whole", "no"},
        {"deliver", "head_ms", "0"},
        {"deliver", "tail_ms", "0"},
        {"deliver", "keep_earlier", "5"},
        {"deliver", "hold", "no"},
        {"report", "page", "yes"},
        {"report", "pictures", "yes"},
        {"report", "media", "link"},
        {"watch", "settle_s", "2"},
        {"watch", "then", ""},
    };
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    struct tt_settings settings;
    tt_settings_default(&settings);
    assert_int_equal(count, sizeof defaults / sizeof *defaults);
    for (size_t i = 0; i < count; i++) {
        struct tt_text value = {0};
        tt_setting_value(&settings, &rows[i], &value);
        assert_string_equal(rows[i].section, defaults[i][0]);
        assert_string_equal(rows[i].key, defaults[i][1]);
        assert_string_equal(value.data ? value.data : "", defaults[i][2]);
        tt_text_free(&value);
    }
}

static void defaults_go_together_and_lie_in_their_ranges(void **state)
{
    (void)state;
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    struct tt_settings settings;
    struct tt_error err = {0};
    tt_settings_default(&settings);
    if (!tt_settings_check(&settings, &err))
        fail_msg("%s", err.message);
    for (size_t i = 0; i < count; i++)
        if (!tt_settings_set(&settings, rows[i].section, rows[i].key, rows[i].fallback, "table", NULL, &err))
            fail_msg("%s", err.message);
}

static void every_row_has_help_with_an_example_in_100_characters(void **state)
{
    (void)state;
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    for (size_t i = 0; i < count; i++) {
        if (strlen(rows[i].help) > 100)
            fail_msg("%s: %zu characters", rows[i].key, strlen(rows[i].help));
        if (!strstr(rows[i].help, "e.g. "))
            fail_msg("%s: no example", rows[i].key);
    }
}

static void each_kind_of_value_is_read(void **state)
{
    (void)state;
    struct tt_settings s;
    tt_settings_default(&s);
    assert_set(&s, "take.channel=3");
    assert_int_equal(s.take.channel, TT_CHANNEL_NUMBER);
    assert_int_equal(s.take.channel_number, 3);
    assert_set(&s, "take.channel=mix");
    assert_int_equal(s.take.channel, TT_CHANNEL_MIX);
    assert_int_equal(s.take.channel_number, 0);
    assert_set(&s, "misreads.confidence= 0,99 ");
    assert_true(s.misreads.confidence == 0.99);
    assert_set(&s, "misreads.talk=Cut");
    assert_int_equal(s.misreads.talk, TT_POLICY_CUT);
    assert_set(&s, "misreads.talk=\t off \t"); /* blanks around a word are no fault */
    assert_int_equal(s.misreads.talk, TT_POLICY_OFF);
    assert_set(&s, "misreads.knock=on");
    assert_true(s.misreads.knock);
    assert_set(&s, "misreads.knock=no");
    assert_false(s.misreads.knock);
    assert_set(&s, "deliver.frame_rate=29.97df");
    assert_int_equal(s.deliver.frame_rate, TT_FPS_2997DF);
    assert_set(&s, "deliver.start=10:00:00;02");
    assert_string_equal(s.deliver.start, "10:00:00;02");
    assert_set(&s, "deliver.bits=32f");
    assert_int_equal(s.deliver.bits, TT_BITS_32F);
    assert_set(&s, "deliver.rate_hz=96000");
    assert_int_equal(s.deliver.rate_hz, TT_RATE_96000);
    assert_set(&s, "report.media=copy-all");
    assert_int_equal(s.report.media, TT_MEDIA_COPY_ALL);
    assert_set(&s, "watch.then=/usr/local/bin/tell = x");
    assert_string_equal(s.watch.then, "/usr/local/bin/tell = x");
    assert_set(&s, "gate.keep_faint_db=-0");
    struct tt_text zero = {0};
    tt_setting_add_number(s.gate.keep_faint_db, &zero);
    assert_string_equal(zero.data, "0");
    tt_text_free(&zero);
    assert_set(&s, "pauses.stay_ms=50"); /* both ends of a range belong to it */
    assert_set(&s, "pauses.stay_ms=10000");
}

static void what_is_not_allowed_is_refused_with_what_is(void **state)
{
    (void)state;
    assert_refused("gate.depth_db=12 dB",
                   "--set: [gate] depth_db = 12 dB: must be from 0 to 60 dB; the number alone, without its unit");
    assert_refused("gate.depth_db=60.001", "--set: [gate] depth_db = 60.001: must be from 0 to 60 dB");
    assert_refused("gate.depth_db=nan", "--set: [gate] depth_db = nan: must be from 0 to 60 dB");
    assert_refused("misreads.confidence=97", "--set: [misreads] confidence = 97: must be from 0.5 to 1");
    assert_refused("misreads.knock=1", "--set: [misreads] knock = 1: must be on or off");
    assert_refused("report.page=yess", "--set: [report] page = yess: must be yes or no; did you mean yes?");
    assert_refused("deliver.bits=32", "--set: [deliver] bits = 32: must be 16, 24 or 32f; did you mean 32f?");
    assert_refused("deliver.rate_hz=22050", "--set: [deliver] rate_hz = 22050: must be keep, 44100, 48000 or 96000 Hz");
    static const char *const channels[] = {"0", "65", "1.5", "-1", "+1", "", "1e0", "centre", "99999999999999999999"};
    for (size_t i = 0; i < sizeof channels / sizeof *channels; i++) {
        char assignment[64], message[160];
        snprintf(assignment, sizeof assignment, "take.channel=%s", channels[i]);
        snprintf(message, sizeof message,
                 "--set: [take] channel = %s: must be auto, left, right, mix or a number from 1 to 64", channels[i]);
        assert_refused(assignment, message);
    }
    static const char *const times[] = {"1:00:00:00",  "01:00:00",    "24:00:00:00", "01:60:00:00", "01:00:60:00",
                                        "01;00:00:00", "01:00:00.00", "01:00:00:0x", "01:00:00:000"};
    for (size_t i = 0; i < sizeof times / sizeof *times; i++) {
        char assignment[64], message[160];
        snprintf(assignment, sizeof assignment, "deliver.start=%s", times[i]);
        snprintf(message, sizeof message, "--set: [deliver] start = %s: must be a timecode such as 01:00:00:00",
                 times[i]);
        assert_refused(assignment, message);
    }
    assert_refused("watch.then=a\nb", "--set: [watch] then = a?b: must be a text of 0 to 1023 bytes");
    assert_refused("watch.then=\xFF", "--set: [watch] then = ?: must be a text of 0 to 1023 bytes");
}

static void an_assignment_has_three_parts(void **state)
{
    (void)state;
    static const char *const refused[] = {"", "gate", "gate.depth_db", "gate=3", ".depth_db=3", "gate.=3", "="};
    for (size_t i = 0; i < sizeof refused / sizeof *refused; i++) {
        char message[160];
        snprintf(message, sizeof message, "--set %s: must be SECTION.KEY=VALUE, such as pauses.longest_ms=1200",
                 refused[i]);
        assert_refused(refused[i], message);
    }
    assert_refused("depth_db=3.5", "--set depth_db=3.5: the section is missing; did you mean gate.depth_db=3.5?");
    assert_refused("gates.depth_db=3", "--set: [gates]: no such section; did you mean [gate]?");
}

static void texts_up_to_the_last_byte_are_kept_and_longer_ones_refused(void **state)
{
    (void)state;
    struct tt_settings settings;
    struct tt_error err;
    char assignment[1200] = "watch.then=";
    tt_settings_default(&settings);
    size_t start = strlen(assignment);
    memset(assignment + start, 'x', TT_SETTING_TEXT_CHARS - 1);
    assert_true(set(&settings, assignment, &err));
    assert_string_equal(settings.watch.then, assignment + start);
    assignment[start + TT_SETTING_TEXT_CHARS - 1] = 'y';
    assert_false(set(&settings, assignment, &err));
    assert_true(strlen(err.message) < 200);
}

static void settings_that_contradict_each_other_are_named_both(void **state)
{
    (void)state;
    static const struct {
        const char *assignments[3], *message;
    } cases[] = {
        {{"pauses.stay_ms=1000"}, "[pauses] longest_ms = 900 must be at least stay_ms = 1000; change one of them"},
        {{"pauses.stay_ms=900"}, NULL},
        {{"loudness.ceiling_dbtp=-16"},
         "[loudness] ceiling_dbtp = -16 must be more than target_lufs = -16; change one of them"},
        {{"loudness.ceiling_dbtp=-20", "loudness.aim=rms"},
         "[loudness] ceiling_dbtp = -20 must be more than target_rms_dbfs = -20; change one of them"},
        {{"deliver.start=01:00:00:25"},
         "[deliver] start = 01:00:00:25 is no timecode at frame_rate = 25; change one of them"},
        {{"deliver.start=01:00:00:24"}, NULL},
        {{"deliver.start=01:00:00;00"},
         "[deliver] start = 01:00:00;00 is no timecode at frame_rate = 25; change one of them"},
        {{"deliver.start=01:00:00:24", "deliver.frame_rate=23.976"},
         "[deliver] start = 01:00:00:24 is no timecode at frame_rate = 23.976; change one of them"},
        /* Drop-frame counting leaves out the first two numbers of each minute but every tenth: SMPTE ST 12-1. */
        {{"deliver.start=01:01:00;01", "deliver.frame_rate=29.97df"},
         "[deliver] start = 01:01:00;01 is no timecode at frame_rate = 29.97df; change one of them"},
        {{"deliver.start=01:01:00;02", "deliver.frame_rate=29.97df"}, NULL},
        {{"deliver.start=01:10:00;00", "deliver.frame_rate=29.97df"}, NULL},
        {{"deliver.start=01:01:00;03", "deliver.frame_rate=59.94df"},
         "[deliver] start = 01:01:00;03 is no timecode at frame_rate = 59.94df; change one of them"},
        {{"deliver.start=01:01:00;59", "deliver.frame_rate=59.94df"}, NULL},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct tt_settings settings;
        struct tt_error err = {0};
        tt_settings_default(&settings);
        for (size_t k = 0; k < 3 && cases[i].assignments[k]; k++)
            assert_set(&settings, cases[i].assignments[k]);
        bool is_right = tt_settings_check(&settings, &err);
        assert_string_equal(err.message, cases[i].message ? cases[i].message : "");
        assert_int_equal(is_right, !cases[i].message);
    }
}

/* Something else than the default in every row, with what is hard to print. */
static void set_everything_otherwise(struct tt_settings *settings, struct tt_setting_origins *origins)
{
    static const char *const assignments[] = {"take.channel=64", "floor.room_tone=/été; \"tone\" #2 .wav ",
                                              "deliver.start=23:59:59;28", "watch.then= a ;b \"", NULL};
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    struct tt_error err = {0};
    for (size_t i = 0; i < count; i++) {
        char value[64];
        size_t last = 0;
        if (rows[i].type == TT_SETTING_NUMBER)
            snprintf(value, sizeof value, "%.17g", rows[i].least + (rows[i].most - rows[i].least) / 3);
        else if (rows[i].choices) {
            while (rows[i].choices[last + 1])
                last++;
            if (strcmp(rows[i].choices[last], rows[i].fallback) == 0)
                last = 0;
            snprintf(value, sizeof value, "%s", rows[i].choices[last]);
        } else
            continue;
        if (!tt_settings_set(settings, rows[i].section, rows[i].key, value, "some/folder/tidytake.ini:17", origins,
                             &err))
            fail_msg("%s", err.message);
    }
    for (size_t i = 0; assignments[i]; i++)
        if (!tt_settings_set_assignment(settings, assignments[i], origins, &err))
            fail_msg("%s", err.message);
}

static void what_is_printed_reads_back_the_same(void **state)
{
    (void)state;
    struct tt_setting_origins *origins = calloc(1, sizeof *origins);
    assert_non_null(origins);
    for (int round = 0; round < 2; round++) {
        struct tt_settings settings, again;
        struct tt_text text = {0};
        struct tt_error err = {0};
        tt_settings_default(&settings);
        tt_settings_default(&again);
        if (round == 1)
            set_everything_otherwise(&settings, origins);
        assert_int_equal(memcmp(&settings, &again, sizeof settings) != 0, round);
        tt_settings_print(&settings, origins, &text);
        if (round == 0)
            set_everything_otherwise(&again, NULL); /* so that each line has to do its work */
        if (!tt_settings_read_ini_text(&again, text.data, text.length, "printed", NULL, &err))
            fail_msg("%s", err.message);
        assert_memory_equal(&settings, &again, sizeof settings);
        tt_text_free(&text);
    }
    free(origins);
}

static void texts_that_look_like_ini_are_printed_in_quotes_and_no_others(void **state)
{
    (void)state;
    static const char *const texts[] = {";x", "#x",    "a ;b", "a #b",   " a",  "a ",
                                        "\"", "\"a\"", "a\"",  "[gate]", "a=b", "x"};
    const size_t plain_from = 9; /* a quote means nothing there */
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct tt_settings settings, again;
        struct tt_text text = {0};
        struct tt_error err = {0};
        tt_settings_default(&settings);
        tt_settings_default(&again);
        assert_true(tt_settings_set(&settings, "watch", "then", texts[i], "test", NULL, &err));
        tt_settings_print(&settings, NULL, &text);
        if (!tt_settings_read_ini_text(&again, text.data, text.length, "printed", NULL, &err))
            fail_msg("%s", err.message);
        assert_string_equal(again.watch.then, texts[i]);
        const char *line = strstr(text.data, "\nthen = ");
        assert_non_null(line);
        assert_int_equal(line[strlen("\nthen = ")] == '"', i < plain_from);
        tt_text_free(&text);
    }
}

static size_t widest_line(const char *text)
{
    size_t widest = 0, columns = 0;
    for (; *text; text++) {
        columns = *text == '\n' ? 0 : columns + (((unsigned char)*text & 0xC0) != 0x80);
        if (columns > widest)
            widest = columns;
    }
    return widest;
}

static void what_is_printed_is_80_columns_wide_whatever_the_origin(void **state)
{
    (void)state;
    static const char *const origins_to_try[] = {"", "--set",
                                                 "a very long/name with blanks/ende\n[gate]\x1b/tidytake.ini:3", NULL};
    struct tt_setting_origins *origins = calloc(1, sizeof *origins);
    struct tt_settings settings, again;
    assert_non_null(origins);
    for (int i = 0; i < 4; i++) {
        const char *origin = origins_to_try[i];
        struct tt_text text = {0};
        struct tt_error err = {0};
        if (origin)
            strcpy(origins->from[3], origin);
        else { /* one word of 1000 bytes, in characters of two */
            for (int k = 0; k < 1000; k += 2)
                memcpy(origins->from[3] + k, "é", 2);
            strcpy(origins->from[3] + 1000, ":123");
        }
        tt_settings_default(&settings);
        tt_settings_default(&again);
        tt_settings_print(&settings, origins, &text);
        if (widest_line(text.data) > 80)
            fail_msg("%zu columns:\n%s", widest_line(text.data), text.data);
        assert_true(tt_utf8_is_valid(text.data, text.length));
        if (!tt_settings_read_ini_text(&again, text.data, text.length, "printed", NULL, &err))
            fail_msg("%s", err.message);
        assert_memory_equal(&settings, &again, sizeof settings);
        if (!origin)
            assert_non_null(strstr(text.data, "é:123\n"));
        tt_text_free(&text);
    }
    free(origins);
}

static void the_manual_lists_every_setting(void **state)
{
    (void)state;
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    struct tt_text text = {0};
    tt_settings_print_mdoc(&text);
    assert_false(text.has_failed);
    for (size_t i = 0; i < count; i++) {
        char item[128];
        snprintf(item, sizeof item, ".It Cm %s No =", rows[i].key);
        assert_non_null(strstr(text.data, item));
        if (tt_setting_section_help(rows[i].section)[0] == '\0')
            fail_msg("[%s]: does not say what it is about", rows[i].section);
    }
    assert_non_null(strstr(text.data, ".Ss pauses\nHow long pauses stay.\n.Bl -tag -width Ds\n"));
    assert_non_null(strstr(text.data, "Allowed: from 0 to 60 dB.\n"));
    assert_null(strstr(text.data, "\n'"));
    assert_true(widest_line(text.data) <= 80);
    tt_text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_defaults_are_those_of_the_manual),
        cmocka_unit_test(defaults_go_together_and_lie_in_their_ranges),
        cmocka_unit_test(every_row_has_help_with_an_example_in_100_characters),
        cmocka_unit_test(each_kind_of_value_is_read),
        cmocka_unit_test(what_is_not_allowed_is_refused_with_what_is),
        cmocka_unit_test(an_assignment_has_three_parts),
        cmocka_unit_test(texts_up_to_the_last_byte_are_kept_and_longer_ones_refused),
        cmocka_unit_test(settings_that_contradict_each_other_are_named_both),
        cmocka_unit_test(what_is_printed_reads_back_the_same),
        cmocka_unit_test(texts_that_look_like_ini_are_printed_in_quotes_and_no_others),
        cmocka_unit_test(what_is_printed_is_80_columns_wide_whatever_the_origin),
        cmocka_unit_test(the_manual_lists_every_setting),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
