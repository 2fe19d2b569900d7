/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <math.h>

#include "base/targets.h"

static struct tt_settings apply(const char *name)
{
    struct tt_settings settings;
    struct tt_error err = {0};
    tt_settings_default(&settings);
    if (!tt_target_apply(name, &settings, NULL, &err))
        fail_msg("%s", err.message);
    if (!tt_settings_check(&settings, &err))
        fail_msg("%s", err.message);
    return settings;
}

/* Levels: EBU R 128 v5.0; ATSC A/85; AES TD1008; the others are common practice, no source. */
static void each_target_sets_what_its_document_says(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        double lufs, dbtp;
    } cases[] = {
        {"ebu-r128", -23, -1}, {"atsc-a85", -24, -2},    {"aes-td1008", -18, -1}, {"web", -14, -1},
        {"spoken", -16, -1},   {"spoken-mono", -19, -1}, {"mix", -23, -1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct tt_settings settings = apply(cases[i].name);
        assert_int_equal(settings.loudness.aim, TT_AIM_LUFS);
        assert_true(settings.loudness.target_lufs == cases[i].lufs);
        assert_true(settings.loudness.ceiling_dbtp == cases[i].dbtp);
    }
    assert_true(apply("mix").loudness.limit_most_db == 0);
}

/* Common practice, no source. */
static void an_audiobook_is_aimed_by_rms_with_head_and_tail(void **state)
{
    (void)state;
    struct tt_settings settings = apply("audiobook");
    assert_int_equal(settings.loudness.aim, TT_AIM_RMS);
    assert_true(settings.loudness.target_rms_dbfs == -20);
    assert_true(settings.loudness.ceiling_dbtp == -3);
    assert_int_equal(settings.deliver.rate_hz, TT_RATE_44100);
    assert_true(settings.deliver.head_ms == 750 && settings.deliver.tail_ms == 3000);
    const struct tt_target *target = tt_target_find("audiobook");
    assert_true(target->least_rms_dbfs == -23 && target->most_rms_dbfs == -18 && target->most_floor_dbfs == -60);
    assert_true(target->most_sample_peak_dbfs == -3 && target->most_minutes == 120 && target->rate_hz == 44100);
    assert_true(isnan(target->least_lufs) && isnan(target->most_lufs) && isnan(target->most_dbtp));
}

/* What a target sets passes what it is judged by. */
static void each_target_lies_within_its_own_limits(void **state)
{
    (void)state;
    size_t count;
    const struct tt_target *targets = tt_targets(&count);
    assert_int_equal(count, 8);
    for (size_t i = 0; i < count; i++) {
        struct tt_settings settings = apply(targets[i].name);
        bool is_rms = settings.loudness.aim == TT_AIM_RMS;
        double aimed = is_rms ? settings.loudness.target_rms_dbfs : settings.loudness.target_lufs;
        assert_true(aimed >= (is_rms ? targets[i].least_rms_dbfs : targets[i].least_lufs));
        assert_true(aimed <= (is_rms ? targets[i].most_rms_dbfs : targets[i].most_lufs));
        assert_true(isnan(targets[i].most_dbtp) || settings.loudness.ceiling_dbtp <= targets[i].most_dbtp);
        assert_true(isnan(targets[i].most_sample_peak_dbfs) ||
                    settings.loudness.ceiling_dbtp <= targets[i].most_sample_peak_dbfs);
        assert_true(strlen(targets[i].source) > 0 && strlen(targets[i].use) > 0);
    }
}

static void no_other_key_is_touched(void **state)
{
    (void)state;
    size_t target_count, row_count;
    const struct tt_target *targets = tt_targets(&target_count);
    const struct tt_setting_row *rows = tt_setting_rows(&row_count);
    struct tt_setting_origins *origins = malloc(sizeof *origins);
    assert_non_null(origins);
    for (size_t i = 0; i < target_count; i++) {
        struct tt_settings settings;
        struct tt_error err = {0};
        char origin[64];
        size_t named = 0, touched = 0;
        memset(origins, 0, sizeof *origins);
        tt_settings_default(&settings);
        assert_true(tt_target_apply(targets[i].name, &settings, origins, &err));
        snprintf(origin, sizeof origin, "--for %s", targets[i].name);
        while (targets[i].assignments[named])
            named++;
        for (size_t k = 0; k < row_count; k++) {
            if (!origins->from[k][0])
                continue;
            assert_string_equal(origins->from[k], origin);
            assert_true(strcmp(rows[k].section, "loudness") == 0 || strcmp(rows[k].section, "deliver") == 0);
            touched++;
        }
        assert_int_equal(touched, named);
    }
    free(origins);
}

static void an_unknown_target_names_the_nearest(void **state)
{
    (void)state;
    struct tt_settings settings;
    struct tt_error err = {0};
    assert_null(tt_target_find("audibook"));
    assert_false(tt_target_apply("audibook", &settings, NULL, &err));
    assert_int_equal(err.kind, TT_ERROR_USAGE);
    assert_string_equal(err.message, "--for audibook: no such target; did you mean audiobook?");
    err = (struct tt_error){0};
    assert_false(tt_target_apply("", &settings, NULL, &err));
    assert_string_equal(err.message, "--for : no such target; there are ebu-r128, atsc-a85, aes-td1008, web, spoken, "
                                     "spoken-mono, audiobook, mix");
}

/* Each block, read as settings, is what --for sets. */
static void the_printed_list_is_ini_of_80_columns_that_means_the_same(void **state)
{
    (void)state;
    size_t count;
    const struct tt_target *targets = tt_targets(&count);
    struct tt_text text = {0};
    tt_targets_print(&text);
    assert_false(text.has_failed);
    size_t columns = 0;
    for (const char *c = text.data; *c; c++) {
        columns = *c == '\n' ? 0 : columns + 1;
        assert_true(columns <= 80);
    }
    const char *block = strstr(text.data, "\n\n");
    for (size_t i = 0; i < count; i++) {
        assert_non_null(block);
        const char *end = strstr(block + 2, "\n\n");
        size_t size = end ? (size_t)(end - block) : strlen(block);
        struct tt_settings settings, expected = apply(targets[i].name);
        struct tt_error err = {0};
        tt_settings_default(&settings);
        assert_memory_equal(block + 4, targets[i].name, strlen(targets[i].name));
        assert_non_null(strstr(block, targets[i].source));
        if (!tt_settings_read_ini_text(&settings, block, size, "list", NULL, &err))
            fail_msg("%s", err.message);
        assert_memory_equal(&settings, &expected, sizeof settings);
        block = end;
    }
    assert_null(block);
    assert_non_null(strstr(text.data, "; judged by: -23.2 to -22.8 LUFS, at most -1 dBTP\n"));
    tt_text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_target_sets_what_its_document_says),
        cmocka_unit_test(an_audiobook_is_aimed_by_rms_with_head_and_tail),
        cmocka_unit_test(each_target_lies_within_its_own_limits),
        cmocka_unit_test(no_other_key_is_touched),
        cmocka_unit_test(an_unknown_target_names_the_nearest),
        cmocka_unit_test(the_printed_list_is_ini_of_80_columns_that_means_the_same),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
