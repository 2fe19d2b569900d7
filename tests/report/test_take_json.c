/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "hive_session.h"

#include "json_test.h"

#include <unistd.h>

#include "base/file.h"
#include "report/report.h"

static char folder[] = "/tmp/tidytake-take-json-XXXXXX";
static char path[sizeof folder + 16];

static int make_folder(void **state)
{
    (void)state;
    if (!mkdtemp(folder))
        return -1;
    snprintf(path, sizeof path, "%s/01.json", folder);
    return 0;
}

static int remove_folder(void **state)
{
    (void)state;
    unlink(path);
    return rmdir(folder);
}

static json_t *write_and_parse(const struct tt_take_report *take)
{
    struct tt_text text = {0};
    struct tt_error err = {0};
    if (!tt_report_take_json(take, &text, &err))
        fail_msg("%s", err.message);
    assert_null(strstr(text.data, "nan"));
    assert_null(strstr(text.data, "inf"));
    return parse_text(&text);
}

static void assert_null_at(const json_t *object, const char *key)
{
    assert_true(json_is_null(json_object_get(object, key)));
}

/* Names from the manual's list of keys. */
static void assert_keys(const json_t *object, const char *names)
{
    char copy[400], *rest = copy;
    snprintf(copy, sizeof copy, "%s", names);
    for (char *name = strtok_r(copy, " ", &rest); name; name = strtok_r(NULL, " ", &rest))
        if (!json_object_get(object, name))
            fail_msg("no key %s", name);
}

static void every_key_that_programs_rely_on_is_there(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = write_and_parse(&hive.takes[0]);
    assert_keys(object,
                "source output before after removed pauses decisions time_map warnings render_key gain_db limited_db");
    assert_keys(json_object_get(object, "source"), "path rate_hz channels frames sha256");
    assert_keys(json_object_get(object, "output"), "rate_hz channels frames");
    static const char measured[] = "duration_s integrated_lufs loudness_range_lu max_momentary_lufs "
                                   "max_short_term_lufs max_true_peak_dbtp noise_floor_dbfs "
                                   "noise_floor_dba speech_to_floor_db rms_dbfs";
    assert_keys(json_object_get(object, "before"), measured);
    assert_keys(json_object_get(object, "after"), measured);
    assert_keys(json_object_get(object, "removed"), "seconds by_kind");
    assert_keys(json_array_get(json_object_get(object, "decisions"), 0),
                "take id start end kind proposed action amount confidence by note start_s end_s out_start_s out_end_s");
    assert_keys(json_array_get(json_object_get(object, "time_map"), 0),
                "source_start_frame source_end_frame out_start_frame");
    assert_keys(json_array_get(json_object_get(object, "warnings"), 0), "code message at_s");
    json_decref(object);
}

static void figures_are_those_of_the_take(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = write_and_parse(&hive.takes[0]);
    const json_t *before = json_object_get(object, "before"), *after = json_object_get(object, "after");
    assert_string_equal(string(json_object_get(object, "source"), "path"), "/films/hive/01.wav");
    assert_int_equal(json_integer_value(json_object_get(json_object_get(object, "source"), "frames")), 960000);
    assert_int_equal(json_integer_value(json_object_get(json_object_get(object, "output"), "frames")), 926400);
    assert_float_equal(number(before, "duration_s"), 20, 0);
    assert_float_equal(number(before, "integrated_lufs"), -27.31, 1e-12);
    assert_float_equal(number(before, "speech_to_floor_db"), 27, 1e-12);
    assert_float_equal(number(before, "rms_dbfs"), -30, 1e-12);
    assert_float_equal(number(after, "duration_s"), 19.3, 1e-12);
    assert_float_equal(number(after, "noise_floor_dbfs"), -66.5, 1e-12);
    assert_float_equal(number(after, "speech_to_floor_db"), 49.75, 1e-12);
    assert_float_equal(number(json_object_get(object, "removed"), "seconds"), 4.7, 1e-9);
    const json_t *pause = json_object_get(json_object_get(json_object_get(object, "removed"), "by_kind"), "pause");
    assert_float_equal(number(pause, "seconds"), 1.2, 1e-9);
    assert_int_equal(json_integer_value(json_object_get(pause, "count")), 1);
    json_decref(object);
}

static void decisions_tell_where_they_land(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = write_and_parse(&hive.takes[0]);
    const json_t *rows = json_object_get(object, "decisions"), *misread = json_array_get(rows, 0),
                 *pause = json_array_get(rows, 2), *label = json_array_get(rows, 4);
    assert_int_equal(json_array_size(rows), HIVE_ROWS);
    assert_string_equal(string(misread, "take"), "01.wav");
    assert_string_equal(string(misread, "id"), "m1-3fa2c1-7d20");
    assert_string_equal(string(misread, "start"), "00:00:02.000");
    assert_string_equal(string(misread, "kind"), "misread");
    assert_string_equal(string(misread, "by"), "");
    assert_null_at(misread, "amount");
    assert_float_equal(number(misread, "confidence"), 0.98, 1e-12);
    assert_null_at(misread, "out_start_s");
    assert_null_at(misread, "out_end_s");
    assert_float_equal(number(pause, "amount"), 0.8, 1e-12);
    assert_float_equal(number(pause, "start_s"), 9, 0);
    assert_float_equal(number(pause, "out_start_s"), 5.5, 1e-9);
    assert_float_equal(number(pause, "out_end_s"), 6.3, 1e-9); /* 0.8 s of it stayed */
    assert_string_equal(string(label, "by"), "me");
    assert_string_equal(string(label, "note"), "the queen");
    assert_null_at(label, "confidence");
    json_decref(object);
}

static void the_time_map_counts_in_the_rates_of_both_files(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].out_rate_hz = 44100;
    json_t *object = write_and_parse(&hive.takes[0]);
    const json_t *entry = json_array_get(json_object_get(object, "time_map"), 1);
    assert_int_equal(json_integer_value(json_object_get(entry, "source_start_frame")), 264000);
    assert_int_equal(json_integer_value(json_object_get(entry, "source_end_frame")), 451200);
    assert_int_equal(json_integer_value(json_object_get(entry, "out_start_frame")), 88200);
    json_decref(object);
}

static void a_take_without_a_voice_has_no_place_in_one(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = write_and_parse(&hive.takes[3]);
    assert_int_equal(json_array_size(json_object_get(object, "time_map")), 0);
    assert_null_at(json_array_get(json_object_get(object, "decisions"), 0), "out_start_s");
    assert_null_at(json_object_get(object, "after"), "integrated_lufs");
    assert_int_equal(json_integer_value(json_object_get(json_object_get(object, "output"), "rate_hz")), 48000);
    assert_null_at(object, "render_key");
    json_decref(object);
    hive.takes[0].has_voice = false; /* --plan */
    object = write_and_parse(&hive.takes[0]);
    assert_int_equal(json_array_size(json_object_get(object, "time_map")), 0);
    assert_int_equal(json_array_size(json_object_get(object, "decisions")), HIVE_ROWS);
    json_decref(object);
    object = write_and_parse(&hive.takes[2]);
    assert_string_equal(string(object, "error"), hive.takes[2].error);
    assert_string_equal(string(json_object_get(object, "source"), "path"), "/films/hive/03.wav");
    json_decref(object);
}

static void a_remark_and_its_warning_are_one(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = write_and_parse(&hive.takes[0]);
    const json_t *warnings = json_object_get(object, "warnings");
    assert_int_equal(json_array_size(warnings), 2);
    assert_string_equal(string(json_array_get(warnings, 0), "code"), "clipped");
    assert_float_equal(number(json_array_get(warnings, 0), "at_s"), 6.25, 0);
    assert_string_equal(string(json_array_get(warnings, 1), "code"), "held-back");
    assert_null_at(json_array_get(warnings, 1), "at_s");
    json_decref(object);
}

static void what_is_not_defined_is_null(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].after.levels.integrated_lufs = -INFINITY;
    hive.takes[0].after.levels.loudness_range_lu = NAN;
    hive.takes[0].after.floor_dbfs = -INFINITY;
    hive.takes[0].gain_db = NAN;
    json_t *object = write_and_parse(&hive.takes[0]);
    assert_null_at(json_object_get(object, "after"), "integrated_lufs");
    assert_null_at(json_object_get(object, "after"), "loudness_range_lu");
    assert_null_at(json_object_get(object, "after"), "speech_to_floor_db");
    assert_null_at(object, "gain_db");
    json_decref(object);
}

static void hostile_names_stay_names(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].source_path = "/films/\"},\x1b[2J\n\xff\xfe/ruche \xc3\xa9t\xc3\xa9.wav";
    snprintf(hive.notes[0], sizeof hive.notes[0], "</script>\"\\\x01");
    json_t *object = write_and_parse(&hive.takes[0]);
    assert_string_equal(string(json_object_get(object, "source"), "path"),
                        "/films/\"},\x1b[2J\n\xef\xbf\xbd\xef\xbf\xbd/ruche \xc3\xa9t\xc3\xa9.wav");
    assert_string_equal(string(json_array_get(json_object_get(object, "decisions"), 0), "note"), "</script>\"\\\x01");
    json_decref(object);
}

static void write_report(const struct tt_take_report *take)
{
    struct tt_text text = {0};
    struct tt_error err = {0};
    assert_true(tt_report_take_json(take, &text, &err));
    assert_true(tt_file_write(path, text.data, text.length, &err));
    tt_text_free(&text);
}

static void an_earlier_take_is_read_back(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].gain_db = 11.0 / 3;
    hive.takes[0].after.levels.integrated_lufs = -16.0 / 3;
    hive.takes[0].after.floor_dba = -INFINITY; /* null in the file, as what was not measured at all */
    hive.takes[0].after.levels.max_short_term_lufs = NAN;
    hive.takes[0].after.levels.loudness_range_lu = NAN;
    tt_report_round(&hive.takes[0]);
    write_report(&hive.takes[0]);
    struct tt_earlier_take earlier;
    struct tt_error err = {0};
    if (!tt_report_take_json_read(path, &earlier, &err))
        fail_msg("%s", err.message);
    assert_string_equal(earlier.render_key, "key-0");
    assert_true(earlier.has_voice);
    assert_int_equal(earlier.out_rate_hz, 48000);
    assert_int_equal(earlier.out_channel_count, 1);
    assert_int_equal(earlier.out_frames, 926400);
    /* After rounding, the very same bits come back: a second run shows the same digits. */
    assert_true(earlier.gain_db == hive.takes[0].gain_db && earlier.limited_db == 1.5);
    assert_float_equal(earlier.gain_db, 3.667, 1e-12);
    assert_true(earlier.after.levels.integrated_lufs == hive.takes[0].after.levels.integrated_lufs);
    assert_true(earlier.after.levels.sample_peak_dbfs == -1.75 && earlier.after.speech_dbfs == -16.75 &&
                earlier.after.floor_dbfs == -66.5);
    /* What is no number, too, is shown by the run that measured as by the next one, which reads it back. */
    assert_true(isnan(earlier.after.floor_dba) && isnan(hive.takes[0].after.floor_dba) &&
                isnan(earlier.after.levels.loudness_range_lu));
    assert_true(isinf(earlier.after.levels.max_short_term_lufs) &&
                isinf(hive.takes[0].after.levels.max_short_term_lufs));
    assert_int_equal(earlier.warning_count, 1); /* remarks are heard anew */
    assert_string_equal(earlier.warnings[0].code, "held-back");
    assert_string_equal(earlier.warnings[0].message, hive.warnings[1].message);
    assert_true(isnan(earlier.warnings[0].at_s));
    free(earlier.warnings);
    write_report(&hive.takes[3]);
    assert_true(tt_report_take_json_read(path, &earlier, &err));
    assert_false(earlier.has_voice);
    assert_int_equal(earlier.warning_count, 0);
}

static void assert_refused(const char *data, size_t size)
{
    struct tt_earlier_take earlier;
    struct tt_error err = {0};
    assert_true(tt_file_write(path, data, size, &err));
    assert_false(tt_report_take_json_read(path, &earlier, &err));
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    assert_non_null(strstr(err.message, path));
    assert_null(earlier.warnings);
}

static void damaged_reports_are_refused(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_text text = {0};
    struct tt_error err = {0};
    assert_true(tt_report_take_json(&hive.takes[0], &text, &err));
    for (size_t size = 0; size + 2 < text.length; size += 97)
        assert_refused(text.data, size);
    static const struct {
        const char *from, *to;
    } damages[] = {
        {"\"name\": \"tidytake\"", "\"name\": \"othertake\""},
        {"\"render_key\": \"key-0\"", "\"render_key\": \"\\u0000key\""},
        {"\"rate_hz\": 48000,\n  \"channels\": 1", "\"rate_hz\": -4800,\n  \"channels\": 1"},
        {"\"gain_db\": 11.25", "\"gain_db\": true "},
        {"\"frames\": 926400", "\"frames\": 9.5e99"},
        {"\"code\": \"held-back\"", "\"code\": [\"held-\"]"},
        {"\"remark_count\": 1", "\"remark_count\": 3"},
        {"\"sample_peak_dbfs\"", "\"sample_leak_dbfs\""},
        {"\"warnings\"", "\"warningz\""},
    };
    for (size_t i = 0; i < sizeof damages / sizeof *damages; i++) {
        char *copy = tt_copy_string(text.data), *at = NULL;
        /* the last place: after{} and output{} stand behind before{} and source{} */
        for (char *next = copy; (next = strstr(next, damages[i].from)); next++)
            at = next;
        if (!at)
            fail_msg("nothing to damage: %s", damages[i].from);
        char *damaged = tt_format("%.*s%s%s", (int)(at - copy), copy, damages[i].to, at + strlen(damages[i].from));
        assert_refused(damaged, strlen(damaged));
        free(damaged);
        free(copy);
    }
    tt_text_free(&text);
    assert_refused("[]", 2);
    assert_refused("{\"program\": {\"name\": \"tidytake\"}}", 33);
    struct tt_text deep = {0};
    for (int i = 0; i < 100000; i++)
        tt_text_add(&deep, "[");
    assert_refused(deep.data, deep.length);
    tt_text_free(&deep);
    unlink(path);
    struct tt_earlier_take earlier;
    assert_false(tt_report_take_json_read(path, &earlier, &err));
}

static void long_messages_are_cut_at_a_character(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    char *message = hive.warnings[1].message;
    for (size_t i = 0; i + 3 < sizeof hive.warnings[1].message; i += 2)
        memcpy(message + i, "\xc3\xa9", 3);
    write_report(&hive.takes[0]);
    struct tt_earlier_take earlier;
    struct tt_error err = {0};
    assert_true(tt_report_take_json_read(path, &earlier, &err));
    assert_string_equal(earlier.warnings[0].message, message);
    free(earlier.warnings);
}

static bool make_text(const void *of, struct tt_error *err)
{
    struct tt_text text = {0};
    bool ok = tt_report_take_json(of, &text, err);
    tt_text_free(&text);
    return ok;
}

static void every_failed_allocation_is_an_error(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    assert_each_allocation_is_checked(make_text, &hive.takes[0], 300);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_key_that_programs_rely_on_is_there),
        cmocka_unit_test(figures_are_those_of_the_take),
        cmocka_unit_test(decisions_tell_where_they_land),
        cmocka_unit_test(the_time_map_counts_in_the_rates_of_both_files),
        cmocka_unit_test(a_take_without_a_voice_has_no_place_in_one),
        cmocka_unit_test(a_remark_and_its_warning_are_one),
        cmocka_unit_test(what_is_not_defined_is_null),
        cmocka_unit_test(hostile_names_stay_names),
        cmocka_unit_test(an_earlier_take_is_read_back),
        cmocka_unit_test(damaged_reports_are_refused),
        cmocka_unit_test(long_messages_are_cut_at_a_character),
        cmocka_unit_test(every_failed_allocation_is_an_error),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
