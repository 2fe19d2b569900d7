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
    json_array_foreach(json_object_get(report, "decisions"), i, decision)
        if (strcmp(json_string_value(json_object_get(decision, "kind")), kind) == 0)
            return decision;
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
    assert_true(number_at(decision_of(report, "pause"), NULL, "out_end_s") > opens_s + 0.1); /* not where it was asked for */
    assert_true(fabs(cue_s(in_folder(f->out, "voice/01.wav"), "smoker") - opens_s) < 0.001);
    assert_true(fabs(cue_s(in_folder(f->out, "narration.wav"), "smoker") - opens_s) < 0.001); /* take 1 begins the narration */
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

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_gap_has_its_cue_point_where_it_opens, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(flac_has_24_bits_where_floats_are_asked_for_and_says_so, fixture_set_up, fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
