/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Recordings that are renamed, numbered anew, taken away. */
#include "clean_support.h"

#include <sys/stat.h>

static void clean(struct fixture *e)
{
    struct tt_clean_result result = clean_well(e->session, e->out, (struct clean_run){0});
    if (result.failed_count)
        fail_msg("%s", result.summary);
    tt_clean_result_free(&result);
}

/* A person adds a label to a sheet. */
static void add_label(struct fixture *e, const char *sheet, const char *take, const char *words)
{
    char row[300];
    snprintf(row, sizeof row, "%s,,00:00:03.000,00:00:03.000,label,,keep,,,,%s\r\n", take, words);
    file_append(in_folder(e->out, sheet), row);
}

static bool sheet_says(struct fixture *e, const char *sheet, const char *words)
{
    char *text = file_read(in_folder(e->out, sheet), NULL);
    bool is_there = strstr(text, words) != NULL;
    free(text);
    return is_there;
}

static void move(struct fixture *e, const char *from, const char *to)
{
    assert_int_equal(rename(in_folder(e->session, from), in_folder(e->session, to)), 0);
}

static void a_renamed_take_keeps_its_sheet(void **state)
{
    struct fixture *e = *state;
    clean(e);
    add_label(e, "sheets/02.csv", "02.flac", "the queen");
    clean(e);
    move(e, "02.flac", "03 - queen.flac");
    clean(e);
    assert_true(sheet_says(e, "sheets/03 - queen.csv", "the queen"));
    assert_true(sheet_says(e, "sheets/03 - queen.csv", "03 - queen.flac"));
    assert_true(sheet_says(e, "sheets/03 - queen.csv", ",me,"));
}

static void takes_that_change_places_keep_their_sheets(void **state)
{
    struct fixture *e = *state;
    clean(e);
    add_label(e, "sheets/01.csv", "01.flac", "smoke");
    add_label(e, "sheets/02.csv", "02.flac", "the queen");
    clean(e);
    move(e, "01.flac", "x.flac");
    move(e, "02.flac", "01.flac");
    move(e, "x.flac", "02.flac");
    clean(e);
    assert_true(sheet_says(e, "sheets/01.csv", "the queen"));
    assert_false(sheet_says(e, "sheets/01.csv", "smoke"));
    assert_true(sheet_says(e, "sheets/02.csv", "smoke"));
}

static void takes_that_are_numbered_anew_keep_their_sheets(void **state)
{
    struct fixture *e = *state;
    clean(e);
    add_label(e, "sheets/01.csv", "01.flac", "smoke");
    add_label(e, "sheets/02.csv", "02.flac", "the queen");
    clean(e);
    move(e, "02.flac", "03.flac");
    move(e, "01.flac", "02.flac");
    clean(e);
    assert_true(sheet_says(e, "sheets/02.csv", "smoke"));
    assert_true(sheet_says(e, "sheets/03.csv", "the queen"));
}

static void the_sheet_of_a_take_that_is_gone_is_put_aside_when_another_takes_its_name(void **state)
{
    struct fixture *e = *state;
    clean(e);
    add_label(e, "sheets/01.csv", "01.flac", "smoke");
    add_label(e, "sheets/02.csv", "02.flac", "the queen");
    clean(e);
    move(e, "01.flac", "../01.flac");
    move(e, "02.flac", "01.flac");
    clean(e);
    assert_true(sheet_says(e, "sheets/01.csv", "the queen"));
    /* It comes back under a new name. */
    move(e, "../01.flac", "05.flac");
    clean(e);
    char aside[100];
    snprintf(aside, sizeof aside, "earlier/sheets/01-%.6s.csv", file_digest(in_folder(e->session, "05.flac")));
    assert_true(sheet_says(e, aside, "smoke"));
}

/* The name that put a sheet aside whose recording nobody knows: that of its own bytes. */
static bool is_aside(struct fixture *e, const char *stem, const char *digest, const char *words)
{
    char aside[100];
    snprintf(aside, sizeof aside, "earlier/sheets/%s-%.6s.csv", stem, digest);
    return file_exists(in_folder(e->out, aside)) && sheet_says(e, aside, words);
}

static void a_sheet_of_a_take_long_gone_is_put_aside_when_another_takes_its_name(void **state)
{
    struct fixture *e = *state;
    clean(e);
    add_label(e, "sheets/02.csv", "02.flac", "the queen");
    move(e, "02.flac", "../02.flac");
    clean(e); /* from here on nobody remembers whose sheets/02.csv is */
    char digest[65];
    snprintf(digest, sizeof digest, "%s", file_digest(in_folder(e->out, "sheets/02.csv")));
    move(e, "01.flac", "02.flac");
    clean(e);
    assert_false(sheet_says(e, "sheets/02.csv", "the queen"));
    assert_true(is_aside(e, "02", digest, "the queen"));
}

static void a_sheet_in_the_way_with_a_slip_in_it_is_put_aside_too(void **state)
{
    struct fixture *e = *state;
    clean(e);
    char digest[65];
    snprintf(digest, sizeof digest, "%s", file_digest(in_folder(e->session, "01.flac")));
    file_append(in_folder(e->out, "sheets/01.csv"), "01.flac,,00:00:99.000,,label,,keep,,,,smoke\r\n");
    move(e, "01.flac", "../01.flac");
    move(e, "02.flac", "01.flac");
    clean(e);
    assert_false(sheet_says(e, "sheets/01.csv", "smoke"));
    assert_true(is_aside(e, "01", digest, "smoke"));
}

static void a_slip_in_the_sheet_of_a_renamed_take_costs_no_decision(void **state)
{
    struct fixture *e = *state;
    clean(e);
    add_label(e, "sheets/02.csv", "02.flac", "the queen");
    clean(e);
    file_replace(in_folder(e->out, "sheets/02.csv"), ",label,", ",labl,");
    move(e, "02.flac", "03.flac");
    for (int run = 0; run < 2; run++) { /* it does not forget from one run to the next either */
        struct tt_clean_result result = clean_well(e->session, e->out, (struct clean_run){0});
        assert_int_equal(result.failed_count, 1);
        assert_non_null(strstr(result.summary, "sheets/02.csv"));
        tt_clean_result_free(&result);
    }
    file_replace(in_folder(e->out, "sheets/02.csv"), ",labl,", ",label,");
    clean(e);
    assert_true(sheet_says(e, "sheets/03.csv", "the queen"));
}

static void a_take_that_was_taken_away_drops_out_of_narration_and_index(void **state)
{
    struct fixture *e = *state;
    clean(e);
    assert_true(sheet_says(e, "index.html", "02.flac"));
    size_t frames_before, frames;
    int rate_hz;
    free(sound_read(in_folder(e->out, "narration.wav"), &frames_before, &rate_hz));
    move(e, "02.flac", "../02.flac");
    clean(e);
    free(sound_read(in_folder(e->out, "narration.wav"), &frames, &rate_hz));
    assert_true(frames < frames_before);
    assert_false(sheet_says(e, "edit/narration.otio", "02.flac"));
    json_t *json = json_of(in_folder(e->out, "session.json"));
    assert_int_equal(json_array_size(json_object_get(json, "takes")), 1);
    json_decref(json);
}

static void a_date_that_is_touched_renders_nothing(void **state)
{
    struct fixture *e = *state;
    clean(e);
    struct timespec times[2] = {{.tv_sec = 1000000000}, {.tv_sec = 1000000000}};
    assert_int_equal(utimensat(-1, in_folder(e->session, "01.flac"), times, 0), 0);
    assert_int_equal(chmod(in_folder(e->session, "02.flac"), 0600), 0); /* moves the change time alone */
    struct tt_clean_result result = clean_well(e->session, e->out, (struct clean_run){0});
    assert_int_equal(result.rendered_count, 0);
    tt_clean_result_free(&result);
    json_t *json = json_of(in_folder(e->out, "session.json"));
    assert_string_equal(json_string_value(json_object_get(json_array_get(json_object_get(json, "takes"), 0), "why")),
                        "up to date");
    json_decref(json);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_renamed_take_keeps_its_sheet, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(takes_that_change_places_keep_their_sheets, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(takes_that_are_numbered_anew_keep_their_sheets, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(the_sheet_of_a_take_that_is_gone_is_put_aside_when_another_takes_its_name,
                                        fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_sheet_of_a_take_long_gone_is_put_aside_when_another_takes_its_name,
                                        fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_sheet_in_the_way_with_a_slip_in_it_is_put_aside_too, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_slip_in_the_sheet_of_a_renamed_take_costs_no_decision, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_take_that_was_taken_away_drops_out_of_narration_and_index, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_date_that_is_touched_renders_nothing, fixture_set_up, fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
