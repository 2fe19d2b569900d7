/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the files say that a run leaves, beside the sound in them. */
#include "clean_support.h"

#include <math.h>
#include <sndfile.h>

static void clean(const struct fixture *f, struct clean_run how)
{
    struct tt_clean_result result = clean_well(f->session, f->out, how);
    tt_clean_result_free(&result);
}

/* The first decision of a kind in a report; borrowed. */
static json_t *decision_of(const json_t *report, const char *kind)
{
    json_t *decision;
    size_t i;
    json_array_foreach(json_object_get(report, "decisions"), i,
                       decision) if (strcmp(json_string_value(json_object_get(decision, "kind")), kind) ==
                                     0) return decision;
    fail_msg("no %s among the decisions", kind);
    return NULL;
}

/* Where a sound file has the cue point of a name, in seconds. */
static double cue_s(const char *path, const char *name)
{
    SF_INFO info = {0};
    SF_CUES cues = {0};
    SNDFILE *file = sf_open(path, SFM_READ, &info);
    if (!file || sf_command(file, SFC_GET_CUE, &cues, sizeof cues) != SF_TRUE)
        fail_msg("%s: no cue points", path);
    sf_close(file);
    for (uint32_t i = 0; i < cues.cue_count; i++)
        if (strcmp(cues.cue_points[i].name, name) == 0)
            return (double)cues.cue_points[i].sample_offset / info.samplerate;
    fail_msg("%s: no cue point '%s'", path, name);
    return 0;
}

/* Asked for in mid-word, it opens in the nearest pause, and there its cue point stands. */
static void a_gap_has_its_cue_point_where_it_opens(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    json_t *report = json_of(in_folder(f->out, "report/01.json"));
    double asked_s = number_at(decision_of(report, "pause"), NULL, "end_s") + 0.4;
    json_decref(report);
    char row[128];
    snprintf(row, sizeof row, "01.flac,,%.3f,%.3f,gap,,open,2.000,,,smoker\r\n", asked_s, asked_s);
    file_append(in_folder(f->out, "sheets/01.csv"), row);
    clean(f, (struct clean_run){0});
    report = json_of(in_folder(f->out, "report/01.json"));
    double opens_s = number_at(decision_of(report, "gap"), NULL, "out_start_s");
    assert_true(number_at(decision_of(report, "pause"), NULL, "out_end_s") >
                opens_s + 0.1); /* not where it was asked for */
    assert_true(fabs(cue_s(in_folder(f->out, "voice/01.wav"), "smoker") - opens_s) < 0.001);
    assert_true(fabs(cue_s(in_folder(f->out, "narration.wav"), "smoker") - opens_s) <
                0.001); /* take 1 begins the narration */
    json_decref(report);
}

/* The columns of a decision are those of the sheet, an empty cell is an empty text. */
static void what_a_person_asks_for_was_proposed_by_nobody(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    file_append(in_folder(f->out, "sheets/01.csv"), "01.flac,,3,4,other,,cut,,,,\r\n");
    clean(f, (struct clean_run){0});
    json_t *report = json_of(in_folder(f->out, "report/01.json")), *row = decision_of(report, "other");
    assert_string_equal(json_string_value(json_object_get(row, "proposed")), "");
    assert_string_equal(json_string_value(json_object_get(row, "action")), "cut");
    assert_string_equal(json_string_value(json_object_get(decision_of(report, "pause"), "proposed")), "shorten");
    json_decref(report);
}

static void flac_has_24_bits_where_floats_are_asked_for_and_says_so(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){.assignments = {"deliver.format=flac"}});
    assert_false(warns(in_folder(f->out, "session.json"), "bits", ""));
    clean(f, (struct clean_run){.assignments = {"deliver.format=flac", "deliver.bits=32f"}});
    assert_true(warns(in_folder(f->out, "session.json"), "bits", "24 bits"));
    SF_INFO info = {0};
    sf_close(sf_open(in_folder(f->out, "narration.flac"), SFM_READ, &info));
    assert_int_equal(info.format & SF_FORMAT_SUBMASK, SF_FORMAT_PCM_24);
}

/* What a plan tells programs: the decisions, and no place in a voice that is not there. */
static void a_plan_reports_its_decisions(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){.is_plan = true});
    json_t *report = json_of(in_folder(f->out, "report/01.json")), *decisions = json_object_get(report, "decisions");
    assert_true(json_array_size(decisions) > 0);
    assert_true(json_is_null(json_object_get(json_array_get(decisions, 0), "out_start_s")));
    assert_int_equal(json_array_size(json_object_get(report, "time_map")), 0);
    assert_true(json_is_null(json_object_get(json_object_get(report, "after"), "integrated_lufs")));
    assert_true(number_at(report, "removed", "seconds") > 0);
    clean(f, (struct clean_run){0});
    json_t *rendered = json_of(in_folder(f->out, "report/01.json"));
    assert_true(json_array_size(json_object_get(rendered, "time_map")) > 0);
    assert_int_equal(json_array_size(json_object_get(rendered, "decisions")), json_array_size(decisions));
    json_decref(report);
    json_decref(rendered);
}

static void a_plan_leaves_the_report_of_a_voice_that_is_there(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    const char *before = file_digest(in_folder(f->out, "report/01.json"));
    clean(f, (struct clean_run){.is_plan = true, .assignments = {"pauses.longest_ms=2000"}});
    assert_string_equal(before, file_digest(in_folder(f->out, "report/01.json")));
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){0});
    assert_int_equal(result.rendered_count, 0); /* the plan's settings are gone, and the voices are still those */
    tt_clean_result_free(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_gap_has_its_cue_point_where_it_opens, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(what_a_person_asks_for_was_proposed_by_nobody, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(flac_has_24_bits_where_floats_are_asked_for_and_says_so, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_plan_reports_its_decisions, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_plan_leaves_the_report_of_a_voice_that_is_there, fixture_set_up,
                                        fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
