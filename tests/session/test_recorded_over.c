/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Recordings that take the place of others under their names. */
#include "clean_support.h"

#include <sndfile.h>

static struct tt_clean_result clean(struct fixture *e)
{
    return clean_well(e->session, e->out, (struct clean_run){.is_plan = true});
}

static void clean_without_failure(struct fixture *e)
{
    struct tt_clean_result result = clean(e);
    if (result.failed_count)
        fail_msg("%s", result.summary);
    tt_clean_result_free(&result);
}

static void edit(struct fixture *e, const char *sheet)
{
    file_append(in_folder(e->out, sheet), ",,00:00:03.000,00:00:03.000,label,,keep,,,,the queen\r\n");
}

/* The same words, 50 ms later. */
static void record_over(struct fixture *e, const char *name)
{
    enum { LATER = 2400 };
    size_t frames;
    int rate_hz;
    float *sound = sound_read(in_folder(e->session, name), &frames, &rate_hz);
    sound_write(in_folder(e->session, name), SF_FORMAT_WAV | SF_FORMAT_PCM_24, rate_hz, 1, sound + LATER,
                frames - LATER);
    free(sound);
}

static bool says(struct fixture *e, const char *file, const char *words)
{
    char *text = file_read(in_folder(e->out, file), NULL);
    bool is_there = strstr(text, words) != NULL;
    free(text);
    return is_there;
}

/* Where the sheet of a recording is put aside. */
static const char *aside_of(struct fixture *e, const char *stem, const char *recording)
{
    static char aside[100];
    snprintf(aside, sizeof aside, "earlier/sheets/%s-%.6s.csv", stem, file_digest(in_folder(e->session, recording)));
    return aside;
}

static void a_take_that_is_recorded_over_is_done_anew_when_nothing_in_its_sheet_is_a_persons(void **state)
{
    struct fixture *e = *state;
    clean_without_failure(e);
    char aside[100], content[16];
    snprintf(aside, sizeof aside, "%s", aside_of(e, "02", "02.flac"));
    char *before = file_read(in_folder(e->out, "sheets/02.csv"), NULL);
    record_over(e, "02.flac");
    clean_without_failure(e);
    snprintf(content, sizeof content, "-%.6s-", file_digest(in_folder(e->session, "02.flac")));
    assert_true(says(e, "sheets/02.csv", content));
    char *kept = file_read(in_folder(e->out, aside), NULL);
    assert_string_equal(kept, before);
    free(kept);
    free(before);
}

static void an_edited_sheet_is_never_applied_to_another_recording_nor_moved(void **state)
{
    struct fixture *e = *state;
    clean_without_failure(e);
    edit(e, "sheets/02.csv");
    char *before = file_read(in_folder(e->out, "sheets/02.csv"), NULL);
    record_over(e, "02.flac");
    struct tt_clean_result result = clean(e);
    assert_int_equal(result.failed_count, 1);
    assert_non_null(strstr(result.summary, "of another"));
    tt_clean_result_free(&result);
    char *after = file_read(in_folder(e->out, "sheets/02.csv"), NULL);
    assert_string_equal(after, before);
    assert_false(file_exists(in_folder(e->out, "earlier/sheets")));
    free(after);
    free(before);
}

/* The name of 02.flac is given to a new recording; what was decided on it goes with it to 03.flac. */
static void number_anew(struct fixture *e)
{
    clean_without_failure(e);
    edit(e, "sheets/02.csv");
    file_copy(in_folder(e->session, "02.flac"), in_folder(e->session, "03.flac"));
    record_over(e, "02.flac");
    clean_without_failure(e);
}

static void a_name_that_is_free_again_starts_without_the_sheet_that_went_with_its_recording(void **state)
{
    struct fixture *e = *state;
    number_anew(e);
    assert_true(says(e, "sheets/03.csv", "the queen"));
    assert_false(says(e, "sheets/02.csv", "the queen"));
    assert_true(says(e, aside_of(e, "02", "03.flac"), "the queen"));
}

static void a_recording_that_comes_back_under_its_name_finds_its_decisions(void **state)
{
    struct fixture *e = *state;
    number_anew(e);
    assert_int_equal(rename(in_folder(e->session, "03.flac"), in_folder(e->session, "../03.flac")), 0);
    clean_without_failure(e); /* from here on it is not known under another name */
    assert_int_equal(rename(in_folder(e->session, "../03.flac"), in_folder(e->session, "02.flac")), 0);
    clean_without_failure(e);
    assert_true(says(e, "sheets/02.csv", "the queen"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            a_take_that_is_recorded_over_is_done_anew_when_nothing_in_its_sheet_is_a_persons, fixture_set_up,
            fixture_tear_down),
        cmocka_unit_test_setup_teardown(an_edited_sheet_is_never_applied_to_another_recording_nor_moved, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_name_that_is_free_again_starts_without_the_sheet_that_went_with_its_recording,
                                        fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_recording_that_comes_back_under_its_name_finds_its_decisions, fixture_set_up,
                                        fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
