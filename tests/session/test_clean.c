/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The whole job on the labelled session of the fixtures. */
#include "clean_support.h"

#include <fcntl.h>
#include <math.h>
#include <sys/stat.h>
#include <unistd.h>

static void one_command_leaves_voices_sheets_reports_and_the_narration_and_the_recordings_as_they_were(void **state)
{
    struct fixture *f = *state;
    const char *recordings = folder_digest(f->session, ".");
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){0});
    assert_string_equal(recordings, folder_digest(f->session, "."));
    assert_int_equal(result.take_count, 2);
    assert_int_equal(result.failed_count, 0);
    assert_int_equal(result.rendered_count, 2);
    static const char *const names[] = {"index.html",         "narration.wav",       "voice/01.wav",   "voice/02.wav",
                                        "sheets/01.csv",      "sheets/02.csv",       "report/01.json", "report/02.html",
                                        "edit/narration.edl", "edit/narration.otio", "heard/01.bin",   "session.json",
                                        "order.csv"};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (!file_exists(in_folder(f->out, names[i])))
            fail_msg("%s is missing", names[i]);
    tt_clean_result_free(&result);
}

/* What OUT remembers of each recording. */
static void assert_same_recordings(const char *out, const char *other)
{
    json_t *states[2] = {json_load_file(in_folder(out, "session.json"), 0, NULL),
                         json_load_file(in_folder(other, "session.json"), 0, NULL)};
    const json_t *recordings = json_object_get(states[0], "recordings");
    assert_true(json_object_size(recordings) == 2 && json_equal(recordings, json_object_get(states[1], "recordings")));
    json_decref(states[0]);
    json_decref(states[1]);
}

/* Five for two takes: threads are left for parts of each, and its digest is found while it is heard. */
static void the_number_of_jobs_does_not_show_in_the_bytes(void **state)
{
    struct fixture *f = *state;
    static const int jobs[] = {2, 5};
    struct tt_clean_result one = clean_well(f->session, f->out, (struct clean_run){.jobs = 1});
    for (size_t j = 0; j < 2; j++) {
        char other[4096];
        snprintf(other, sizeof other, "%s/other-%d", f->folder, jobs[j]);
        struct tt_clean_result more = clean_well(f->session, other, (struct clean_run){.jobs = jobs[j]});
        static const char *const folders[] = {"voice", "sheets", "heard"};
        for (size_t i = 0; i < sizeof folders / sizeof *folders; i++)
            assert_string_equal(folder_digest(f->out, folders[i]), folder_digest(other, folders[i]));
        assert_string_equal(file_digest(in_folder(f->out, "narration.wav")),
                            file_digest(in_folder(other, "narration.wav")));
        assert_same_recordings(f->out, other);
        tt_clean_result_free(&more);
        more = clean_well(f->session, other, (struct clean_run){.jobs = jobs[j]});
        assert_int_equal(more.up_to_date_count, 2);
        tt_clean_result_free(&more);
    }
    tt_clean_result_free(&one);
}

static void takes_that_cannot_be_heard_are_remembered_whatever_the_number_of_jobs(void **state)
{
    struct fixture *f = *state;
    char other[4096];
    snprintf(other, sizeof other, "%s/other", f->folder);
    for (int jobs = 1; jobs <= 5; jobs += 4) {
        struct tt_clean_result result = clean_well(f->session, jobs == 1 ? f->out : other,
                                                   (struct clean_run){.jobs = jobs, .assignments = {"take.channel=5"}});
        assert_int_equal(result.failed_count, 2);
        tt_clean_result_free(&result);
    }
    assert_same_recordings(f->out, other);
}

static void a_second_run_renders_nothing_and_leaves_the_same_bytes(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result first = clean_well(f->session, f->out, (struct clean_run){0});
    const char *voices = folder_digest(f->out, "voice"), *narration = file_digest(in_folder(f->out, "narration.wav"));
    struct tt_clean_result second = clean_well(f->session, f->out, (struct clean_run){0});
    assert_int_equal(second.rendered_count, 0);
    assert_int_equal(second.up_to_date_count, 2);
    assert_string_equal(voices, folder_digest(f->out, "voice"));
    assert_string_equal(narration, file_digest(in_folder(f->out, "narration.wav")));
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

/* As a power cut may leave a file that was not synced: cut short, or with a page that never came to the medium. */
static void what_was_heard_and_is_damaged_is_heard_again(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){0});
    static const char page[4096];
    struct stat info;
    char *heard = strdup(folder_digest(f->out, "heard")), *voices = strdup(folder_digest(f->out, "voice"));
    tt_clean_result_free(&result);
    assert_int_equal(stat(in_folder(f->out, "heard/01.bin"), &info), 0);
    assert_int_equal(truncate(in_folder(f->out, "heard/01.bin"), info.st_size / 2), 0);
    const int file = open(in_folder(f->out, "heard/02.bin"), O_WRONLY);
    assert_int_equal(pwrite(file, page, sizeof page, sizeof page), sizeof page);
    close(file);
    assert_string_not_equal(heard, folder_digest(f->out, "heard"));
    result = clean_well(f->session, f->out, (struct clean_run){0});
    assert_int_equal(result.failed_count, 0);
    assert_int_equal(result.rendered_count, 0);
    assert_string_equal(heard, folder_digest(f->out, "heard"));
    assert_string_equal(voices, folder_digest(f->out, "voice"));
    free(heard);
    free(voices);
    tt_clean_result_free(&result);
}

/* The take of the two whose sheet cuts a misread. */
static const char *take_with_a_cut(const struct fixture *f)
{
    static const char *const names[] = {"01", "02"};
    for (int i = 0; i < 2; i++) {
        char name[64];
        snprintf(name, sizeof name, "sheets/%s.csv", names[i]);
        char *text = file_read(in_folder(f->out, name), NULL);
        bool has_cut = strstr(text, ",misread,cut,cut,") != NULL;
        free(text);
        if (has_cut)
            return names[i];
    }
    fail_msg("no misread is cut in the fixture session");
    return NULL;
}

static void a_cut_that_is_changed_to_keep_comes_back_and_only_its_take_is_rendered(void **state)
{
    struct fixture *f = *state;
    struct clean_run by_take = {.assignments = {"loudness.across=take"}};
    struct tt_clean_result first = clean_well(f->session, f->out, by_take);
    const char *take = take_with_a_cut(f);
    const char *other = strcmp(take, "01") == 0 ? "voice/02.wav" : "voice/01.wav";
    char sheet[64], report[64];
    snprintf(sheet, sizeof sheet, "sheets/%s.csv", take);
    snprintf(report, sizeof report, "report/%s.json", take);
    json_t *before = json_of(in_folder(f->out, report));
    const char *other_before = file_digest(in_folder(f->out, other));

    file_replace(in_folder(f->out, sheet), ",misread,cut,cut,", ",misread,cut,keep,");
    struct tt_clean_result second = clean_well(f->session, f->out, by_take);
    assert_int_equal(second.rendered_count, 1);
    assert_string_equal(other_before, file_digest(in_folder(f->out, other)));
    json_t *after = json_of(in_folder(f->out, report));
    assert_true(number_at(after, "after", "duration_s") > number_at(before, "after", "duration_s") + 0.5);
    char *text = file_read(in_folder(f->out, sheet), NULL);
    assert_non_null(strstr(text, ",misread,cut,keep,"));
    assert_non_null(strstr(text, ",me,"));
    free(text);

    struct tt_clean_result third = clean_well(f->session, f->out, by_take); /* the row stays through later runs */
    assert_int_equal(third.rendered_count, 0);
    json_decref(before);
    json_decref(after);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
    tt_clean_result_free(&third);
}

static void a_sheet_that_cannot_be_read_stops_its_take_alone_and_stays_as_it_is(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result first = clean_well(f->session, f->out, (struct clean_run){0});
    file_replace(in_folder(f->out, "sheets/01.csv"), ",pause,", ",silence,");
    const char *sheet = file_digest(in_folder(f->out, "sheets/01.csv"));
    struct tt_clean_result second = clean_well(f->session, f->out, (struct clean_run){0});
    assert_int_equal(second.failed_count, 1);
    assert_non_null(strstr(second.json, "sheets/01.csv:")); /* file, line and column */
    assert_string_equal(sheet, file_digest(in_folder(f->out, "sheets/01.csv")));
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void the_voice_meets_the_target_and_the_ceiling(void **state)
{
    struct fixture *f = *state;
    struct clean_run by_take = {.assignments = {"loudness.across=take", "loudness.target_lufs=-18"}};
    struct tt_clean_result result = clean_well(f->session, f->out, by_take);
    static const char *const reports[] = {"report/01.json", "report/02.json"};
    for (int i = 0; i < 2; i++) {
        json_t *report = json_of(in_folder(f->out, reports[i]));
        assert_true(fabs(number_at(report, "after", "integrated_lufs") + 18) < 0.05); /* goal: 0.05 LU */
        assert_true(number_at(report, "after", "max_true_peak_dbtp") <= -1.0);
        assert_true(number_at(report, "after", "noise_floor_dbfs") < number_at(report, "before", "noise_floor_dbfs"));
        json_decref(report);
    }
    tt_clean_result_free(&result);
}

static void a_narration_of_takes_with_one_gain_is_exact(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result result =
        clean_well(f->session, f->out, (struct clean_run){.assignments = {"loudness.target_lufs=-18"}});
    json_t *session = json_of(in_folder(f->out, "session.json"));
    assert_true(fabs(number_at(session, "narration", "integrated_lufs") + 18) < 0.05);
    assert_true(number_at(session, "narration", "max_true_peak_dbtp") <= -1.0);
    json_decref(session);
    tt_clean_result_free(&result);
}

static void a_plan_writes_no_sound(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){.is_plan = true});
    assert_true(file_exists(in_folder(f->out, "sheets/01.csv")));
    assert_false(file_exists(in_folder(f->out, "voice/01.wav")));
    assert_false(file_exists(in_folder(f->out, "narration.wav")));
    tt_clean_result_free(&result);
}

static void whole_takes_lie_sample_for_sample_under_the_take(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result result =
        clean_well(f->session, f->out, (struct clean_run){.assignments = {"deliver.whole=yes"}});
    size_t take_frames, whole_frames;
    float *take = sound_read(in_folder(f->session, "01.flac"), &take_frames, NULL);
    float *whole = sound_read(in_folder(f->out, "whole/01.wav"), &whole_frames, NULL);
    assert_int_equal(take_frames, whole_frames);
    assert_int_equal(lag_of(take, whole, take_frames, 20), 0);
    free(take);
    free(whole);
    tt_clean_result_free(&result);
}

static void a_take_left_out_in_the_running_order_is_not_in_the_narration(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result first = clean_well(f->session, f->out, (struct clean_run){0});
    size_t all, less;
    free(sound_read(in_folder(f->out, "narration.wav"), &all, NULL));
    file_replace(in_folder(f->out, "order.csv"), "02.flac,yes", "02.flac,no");
    struct tt_clean_result second = clean_well(f->session, f->out, (struct clean_run){0});
    free(sound_read(in_folder(f->out, "narration.wav"), &less, NULL));
    assert_true(less < all);
    file_replace(in_folder(f->out, "order.csv"), "02.flac,no", "02.flac,perhaps");
    struct tt_clean_result third;
    struct tt_error error;
    assert_false(clean_run(f->session, f->out, (struct clean_run){0}, &third, &error));
    assert_int_equal(error.kind, TT_ERROR_USAGE);
    assert_non_null(strstr(error.message, "order.csv:3:2"));
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void an_opened_gap_makes_the_voice_longer_by_its_length(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result first = clean_well(f->session, f->out, (struct clean_run){0});
    size_t before, after;
    free(sound_read(in_folder(f->out, "voice/01.wav"), &before, NULL));
    char *text = file_read(in_folder(f->out, "sheets/01.csv"), NULL);
    char *edited = calloc(1, strlen(text) + 200);
    strcpy(edited, text);
    strcat(edited, "01.flac,,00:00:10.000,00:00:10.000,gap,,open,4.000,,,smoker\r\n");
    file_write(in_folder(f->out, "sheets/01.csv"), edited, strlen(edited));
    struct tt_clean_result second = clean_well(f->session, f->out, (struct clean_run){0});
    int rate_hz;
    free(sound_read(in_folder(f->out, "voice/01.wav"), &after, &rate_hz));
    assert_true(labs((long)after - (long)before - 4L * rate_hz) <= rate_hz / 1000);
    free(text);
    free(edited);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void what_a_killed_run_left_half_written_is_cleared(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result first = clean_well(f->session, f->out, (struct clean_run){0});
    file_write(in_folder(f->out, "voice/.01.wav.4711-1.part"), "half", 4);
    file_write(in_folder(f->out, ".session.json.4711-2.part"), "half", 4);
    file_write(in_folder(f->out, "voice/notes.part"), "a person's", 10);
    struct tt_clean_result second = clean_well(f->session, f->out, (struct clean_run){0});
    assert_false(file_exists(in_folder(f->out, "voice/.01.wav.4711-1.part")));
    assert_false(file_exists(in_folder(f->out, ".session.json.4711-2.part")));
    assert_true(file_exists(in_folder(f->out, "voice/notes.part")));
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

struct shares {
    double last, most_while_hearing;
    bool has_fallen;
    int told;
};

static bool note_share(void *context, double share, const char *take, const char *what)
{
    (void)take;
    struct shares *shares = context;
    shares->has_fallen = shares->has_fallen || share < shares->last || share > 1;
    if (strcmp(what, "hearing") == 0)
        shares->most_while_hearing = share;
    shares->last = share;
    shares->told++;
    return true;
}

static void the_share_that_is_done_never_falls_and_leaves_room_for_what_comes_behind_hearing(void **state)
{
    struct fixture *f = *state;
    struct shares shares = {0};
    const struct tt_clean_watcher watcher = {.context = &shares, .progress = note_share};
    const char *sources[] = {f->session};
    struct tt_clean_options options = {.sources = sources, .source_count = 1, .out = f->out, .jobs = 2};
    struct tt_clean_result result;
    struct tt_error err = {0};
    if (!tt_clean(&options, &watcher, &result, &err))
        fail_msg("%s", err.message);
    assert_true(shares.told > 4);
    assert_false(shares.has_fallen);
    assert_true(shares.most_while_hearing <= 0.5);
    assert_true(shares.last == 1);
    tt_clean_result_free(&result);
}

static void a_part_that_there_is_not_and_a_part_of_a_plan_are_wrong_use(void **state)
{
    struct fixture *f = *state;
    static const struct {
        int part, part_count;
        bool is_plan;
    } wrong[] = {{3, 2, false}, {0, 2, false}, {1, 0, false}, {-1, -1, false}, {1, 2, true}};
    const char *sources[] = {f->session};
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct tt_clean_options options = {.sources = sources,
                                           .source_count = 1,
                                           .out = f->out,
                                           .part = wrong[i].part,
                                           .part_count = wrong[i].part_count,
                                           .is_plan = wrong[i].is_plan};
        struct tt_clean_result result;
        struct tt_error err = {0};
        assert_false(tt_clean(&options, NULL, &result, &err));
        assert_int_equal(err.kind, TT_ERROR_USAGE);
    }
    assert_false(file_exists(f->out));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(
            one_command_leaves_voices_sheets_reports_and_the_narration_and_the_recordings_as_they_were, fixture_set_up,
            fixture_tear_down),
        cmocka_unit_test_setup_teardown(the_number_of_jobs_does_not_show_in_the_bytes, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(takes_that_cannot_be_heard_are_remembered_whatever_the_number_of_jobs,
                                        fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_second_run_renders_nothing_and_leaves_the_same_bytes, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(what_was_heard_and_is_damaged_is_heard_again, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_cut_that_is_changed_to_keep_comes_back_and_only_its_take_is_rendered,
                                        fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_sheet_that_cannot_be_read_stops_its_take_alone_and_stays_as_it_is,
                                        fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(the_voice_meets_the_target_and_the_ceiling, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_narration_of_takes_with_one_gain_is_exact, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_plan_writes_no_sound, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(whole_takes_lie_sample_for_sample_under_the_take, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_take_left_out_in_the_running_order_is_not_in_the_narration, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(what_a_killed_run_left_half_written_is_cleared, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(an_opened_gap_makes_the_voice_longer_by_its_length, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(
            the_share_that_is_done_never_falls_and_leaves_room_for_what_comes_behind_hearing, fixture_set_up,
            fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_part_that_there_is_not_and_a_part_of_a_plan_are_wrong_use, fixture_set_up,
                                        fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
