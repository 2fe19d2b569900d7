/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "clean_support.h"

#include "watch_support.h"

static void each_sub_folder_is_a_session_of_its_own(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    mkdir(in_folder(w->inbox, "empty"), 0777);
    assert_ok(watch_once(w), w->error);
    assert_true(file_exists(in_folder(w->out, "hive/voice/01.wav")));
    assert_true(file_exists(in_folder(w->out, "hive/narration.wav")));
    assert_false(file_exists(in_folder(w->out, "empty")));
}

static void what_arrives_is_cleaned_and_a_saved_sheet_is_obeyed(void **state)
{
    struct watching *w = *state;
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    copy_fixture_session(in_folder(w->inbox, "hive"));
    assert_true(arrives(in_folder(w->out, "hive/session.json")));
    const char *before = file_digest(in_folder(w->out, "hive/voice/01.wav"));
    size_t size;
    char *sheet = file_read(in_folder(w->out, "hive/sheets/01.csv"), &size);
    char *edited = calloc(1, size + 200);
    strcpy(edited, sheet);
    strcat(edited, "01.flac,,00:00:10.000,00:00:10.000,gap,,open,3.000,,,\r\n");
    file_write(in_folder(w->out, "hive/sheets/01.csv"), edited, strlen(edited));
    bool is_new = false;
    for (int i = 0; i < 1200 && !is_new; i++) {
        nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
        is_new = file_exists(in_folder(w->out, "hive/voice/01.wav")) &&
                 strcmp(before, file_digest(in_folder(w->out, "hive/voice/01.wav"))) != 0;
    }
    w->stop = 1;
    pthread_join(w->thread, NULL);
    assert_true(is_new);
    assert_true(w->is_well);
    free(sheet);
    free(edited);
}

static void a_bad_file_is_reported_once_and_the_others_are_done(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    file_write(in_folder(w->inbox, "hive/03.wav"), "no sound", 8);
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    assert_true(arrives(in_folder(w->out, "hive/session.json")));
    static const char ini[] = "[watch]\nsettle_s = 0.2\n[pauses]\nlongest_ms = 950\n"; /* makes the session run again */
    file_write(in_folder(w->inbox, "hive/tidytake.ini"), ini, sizeof ini - 1);
    for (int i = 0; i < 600 && !is_said(w, "takes done anew", 2); i++)
        nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
    w->stop = 1;
    pthread_join(w->thread, NULL);
    assert_true(is_said(w, "03.wav", 1));
    assert_true(file_exists(in_folder(w->out, "hive/voice/01.wav")));
    assert_true(file_exists(in_folder(w->inbox, "hive/03.wav")));
}

static void a_program_is_run_behind_each_session_with_the_page_as_its_argument(void **state)
{
    struct watching *w = *state;
    char script[4096], ini[9000];
    snprintf(script, sizeof script, "#!/bin/sh\nprintf '%%s' \"$1\" > '%s/told'\n", w->folder);
    file_write(in_folder(w->folder, "tell me"), script, strlen(script));
    chmod(in_folder(w->folder, "tell me"), 0755);
    copy_fixture_session(in_folder(w->inbox, "hive"));
    snprintf(ini, sizeof ini, "[watch]\nsettle_s = 0.2\nthen = %s/tell me\n", w->folder);
    file_write(in_folder(w->inbox, "hive/tidytake.ini"), ini, strlen(ini));
    assert_ok(watch_once(w), w->error);
    char *told = file_read(in_folder(w->folder, "told"), NULL);
    assert_string_equal(told, in_folder(w->out, "hive/index.html"));
    free(told);
}

static void a_sheet_that_is_saved_while_that_program_runs_is_obeyed(void **state)
{
    struct watching *w = *state;
    char script[12000], ini[9000];
    snprintf(script, sizeof script,
             "#!/bin/sh\n[ -e '%s/saved' ] && exit\ntouch '%s/saved'\n"
             "printf '01.flac,,00:00:10.000,00:00:10.000,gap,,open,3.000,,,\\r\\n' >> '%s/hive/sheets/01.csv'\n",
             w->folder, w->folder, w->out);
    file_write(in_folder(w->folder, "save"), script, strlen(script));
    chmod(in_folder(w->folder, "save"), 0755);
    copy_fixture_session(in_folder(w->inbox, "hive"));
    snprintf(ini, sizeof ini, "[watch]\nsettle_s = 0.1\nthen = %s/save\n", w->folder);
    file_write(in_folder(w->inbox, "hive/tidytake.ini"), ini, strlen(ini));
    assert_ok(watch_once(w), w->error);
    assert_true(is_said(w, "1 of 2 takes done anew", 1));
}

static void a_sub_folder_of_the_same_name_has_results_of_its_own(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "inbox"));
    assert_int_equal(rename(in_folder(w->inbox, "inbox/02.flac"), in_folder(w->inbox, "02.flac")), 0);
    assert_ok(watch_once(w), w->error);
    assert_true(file_exists(in_folder(w->out, "inbox/voice/02.wav")));
    assert_false(file_exists(in_folder(w->out, "inbox/voice/01.wav")));
    assert_true(file_exists(in_folder(w->out, "inbox (2)/voice/01.wav")));
    assert_true(is_said(w, "takes done anew", 2)); /* neither makes the other run again */
}

static void ignore(void *context, const char *line)
{
    (void)context;
    (void)line;
}

/* Summaries and all else go to different streams. */
static void once_ends_with_an_error_when_a_take_could_not_be_done(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    file_write(in_folder(w->inbox, "hive/03.wav"), "no sound", 8);
    struct tt_watch_options options = {.folder = w->inbox, .is_once = true};
    struct tt_watch_words words = {.context = w, .sum_up = ignore, .note = say};
    assert_false(tt_watch(&options, &words, &w->error));
    assert_int_equal(w->error.kind, TT_ERROR_INPUT);
    assert_true(is_said(w, "03.wav", 1));
    assert_true(is_said(w, "hive: 03.wav: ", 1) && is_said(w, "takes done anew", 0));
    unlink(in_folder(w->inbox, "hive/03.wav"));
    w->error = (struct tt_error){0};
    assert_ok(watch_once(w), w->error);
}

static void links_that_lead_out_of_the_folder_are_not_followed(void **state)
{
    struct watching *w = *state;
    mkdir(in_folder(w->folder, "elsewhere"), 0777);
    copy_fixture_session(in_folder(w->folder, "elsewhere"));
    assert_int_equal(symlink(in_folder(w->folder, "elsewhere"), in_folder(w->inbox, "linked")), 0);
    assert_ok(watch_once(w), w->error);
    assert_false(file_exists(in_folder(w->out, "linked")));
}

static void takes_that_are_links_are_not_followed(void **state)
{
    struct watching *w = *state;
    mkdir(in_folder(w->folder, "elsewhere"), 0777);
    copy_fixture_session(in_folder(w->folder, "elsewhere"));
    copy_fixture_session(in_folder(w->inbox, "hive"));
    assert_int_equal(rename(in_folder(w->inbox, "hive/02.flac"), in_folder(w->folder, "elsewhere/03.flac")), 0);
    assert_int_equal(symlink(in_folder(w->folder, "elsewhere/03.flac"), in_folder(w->inbox, "hive/03.flac")), 0);
    assert_ok(watch_once(w), w->error);
    assert_true(file_exists(in_folder(w->out, "hive/voice/01.wav")));
    assert_false(file_exists(in_folder(w->out, "hive/voice/03.wav")));
}

static void a_copy_that_pauses_is_waited_for_while_its_head_promises_more(void **state)
{
    struct watching *w = *state;
    enum { RATE_HZ = 16000, SECONDS = 6 };
    float *samples = calloc(RATE_HZ * SECONDS, sizeof *samples);
    noise_add(samples, RATE_HZ * SECONDS, 0.001, 1);
    voice_add(samples + RATE_HZ, RATE_HZ * 3, RATE_HZ, 0.1, 2);
    sound_write(in_folder(w->folder, "whole.wav"), 0x010002 /* WAV, 16 bit */, RATE_HZ, 1, samples, RATE_HZ * SECONDS);
    free(samples);
    size_t size;
    char *bytes = file_read(in_folder(w->folder, "whole.wav"), &size);
    mkdir(in_folder(w->inbox, "hive"), 0777);
    file_write(in_folder(w->inbox, "hive/01.wav"), bytes, size / 2);
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    nanosleep(&(struct timespec){.tv_sec = 1, .tv_nsec = 200000000}, NULL); /* six times settle_s */
    bool was_early = file_exists(in_folder(w->out, "hive"));
    file_write(in_folder(w->inbox, "hive/01.wav"), bytes, size);
    free(bytes);
    assert_true(arrives(in_folder(w->out, "hive/session.json")));
    w->stop = 1;
    pthread_join(w->thread, NULL);
    assert_false(was_early);
    json_t *json = json_of(in_folder(w->out, "hive/report/01.json"));
    assert_int_equal(json_integer_value(json_object_get(json_object_get(json, "source"), "frames")), RATE_HZ * SECONDS);
    json_decref(json);
}

static void what_never_becomes_whole_is_taken_as_it_is_in_the_end(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    size_t size;
    char *bytes = file_read(in_folder(w->inbox, "hive/01.flac"), &size);
    file_write(in_folder(w->inbox, "hive/01.flac"), bytes, size / 2);
    free(bytes);
    assert_ok(watch_once(w), w->error);
    assert_true(file_exists(in_folder(w->out, "hive/voice/01.wav")));
}

static void settings_of_the_caller_hold_for_every_session(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    file_write(in_folder(w->folder, "mine.ini"), "[deliver]\nformat = flac\n", 24);
    struct tt_watch_options options = {
        .folder = w->inbox, .is_once = true, .settings_file = in_folder(w->folder, "mine.ini"), .target = "audiobook"};
    struct tt_watch_words words = {.context = w, .sum_up = say, .note = say};
    assert_ok(tt_watch(&options, &words, &w->error), w->error);
    assert_true(file_exists(in_folder(w->out, "hive/voice/01.flac")));
    json_t *json = json_of(in_folder(w->out, "hive/session.json"));
    assert_string_equal(json_string_value(json_object_get(json, "target")), "audiobook");
    json_decref(json);
}

static void names_that_would_harm_a_shell_or_a_terminal_are_harmless(void **state)
{
    struct watching *w = *state;
    char script[4096], ini[9000];
    const char *const hive = in_folder(w->inbox, "-rf $(touch X);`touch X`\n\033[2J");
    snprintf(script, sizeof script, "#!/bin/sh\nprintf '%%s' \"$1\" > '%s/told'\n", w->folder);
    file_write(in_folder(w->folder, "tell"), script, strlen(script));
    chmod(in_folder(w->folder, "tell"), 0755);
    snprintf(ini, sizeof ini, "[watch]\nsettle_s = 0.1\nthen = %s/tell\n", w->folder);
    file_write(in_folder(w->inbox, "tidytake.ini"), ini, strlen(ini));
    mkdir(hive, 0777);
    file_write(in_folder(hive, "tidytake.ini"), ini, strlen(ini));
    copy_fixture_session(hive);
    assert_int_equal(rename(in_folder(hive, "01.flac"), in_folder(hive, "--set=\n=1+1;$(touch X)\xff.flac")), 0);
    assert_ok(watch_once(w), w->error);
    assert_null(strchr(w->said, '\033'));
    assert_false(file_exists("X"));
    char *told = file_read(in_folder(w->folder, "told"), NULL);
    assert_non_null(strstr(told, "$(touch X);`touch X`\n"));
    free(told);
}

/* A take that is over soon: what counts here is that there are many. */
static void write_short_take(const char *path, uint64_t seed)
{
    enum { RATE_HZ = 8000, SAMPLES = RATE_HZ / 4 };
    static float samples[SAMPLES];
    memset(samples, 0, sizeof samples);
    noise_add(samples, SAMPLES, 0.001, seed);
    sound_write(path, 0x010002 /* WAV, 16 bit */, RATE_HZ, 1, samples, SAMPLES);
}

static void many_takes_that_arrive_at_once_are_one_run(void **state)
{
    enum { TAKES = 120 };
    struct watching *w = *state;
    static const char ini[] = "[watch]\nsettle_s = 0.5\n[report]\npage = no\n[deliver]\nnarration = "
                              "no\n[misreads]\naction = off\ntalk = off\n";
    file_write(in_folder(w->inbox, "tidytake.ini"), ini, sizeof ini - 1);
    mkdir(in_folder(w->folder, "hive"), 0777);
    for (int i = 0; i < TAKES; i++) {
        char name[40];
        snprintf(name, sizeof name, "hive/%03d.wav", i);
        write_short_take(in_folder(w->folder, name), (uint64_t)i + 1);
    }
    file_write(in_folder(w->folder, "hive/tidytake.ini"), ini, sizeof ini - 1);
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    mkdir(in_folder(w->inbox, "hive"), 0777);
    for (int i = 0; i < TAKES; i++) {
        char name[40], from[4096];
        snprintf(name, sizeof name, "hive/%03d.wav", i);
        snprintf(from, sizeof from, "%s", in_folder(w->folder, name));
        assert_int_equal(rename(from, in_folder(w->inbox, name)), 0);
    }
    file_write(in_folder(w->inbox, "hive/tidytake.ini"), ini, sizeof ini - 1);
    assert_true(arrives(in_folder(w->out, "hive/session.json")));
    end_watch(w);
    if (!is_said(w, "hive: 120 of 120 takes done anew", 1))
        fail_msg("%s", w->said);
}

/* As with a card that is taken out and put in again, other takes on it. */
static void a_session_that_goes_is_told_of_once_and_done_again_when_it_comes(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->folder, "first"));
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    char first[4096], hive[4096];
    snprintf(first, sizeof first, "%s", in_folder(w->folder, "first"));
    snprintf(hive, sizeof hive, "%s", in_folder(w->inbox, "hive"));
    assert_int_equal(rename(first, hive), 0);
    assert_true(arrives(in_folder(w->out, "hive/session.json")));
    assert_int_equal(rename(hive, first), 0);
    rest_s(5 * PULSE_S); /* looked at once without it, at least */
    const bool was_kept = file_exists(in_folder(w->out, "hive/voice/01.wav"));
    assert_int_equal(rename(in_folder(first, "02.flac"), in_folder(first, "03.flac")), 0);
    assert_int_equal(rename(first, hive), 0);
    assert_true(arrives(in_folder(w->out, "hive/voice/03.wav")));
    end_watch(w);
    assert_true(is_said(w, "hive: its recordings are gone", 1));
    assert_true(was_kept); /* takes that are away for a while cost nothing of what was made */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(each_sub_folder_is_a_session_of_its_own, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_arrives_is_cleaned_and_a_saved_sheet_is_obeyed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_bad_file_is_reported_once_and_the_others_are_done, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_program_is_run_behind_each_session_with_the_page_as_its_argument, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(a_sheet_that_is_saved_while_that_program_runs_is_obeyed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(takes_that_are_links_are_not_followed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_sub_folder_of_the_same_name_has_results_of_its_own, set_up, tear_down),
        cmocka_unit_test_setup_teardown(once_ends_with_an_error_when_a_take_could_not_be_done, set_up, tear_down),
        cmocka_unit_test_setup_teardown(links_that_lead_out_of_the_folder_are_not_followed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_copy_that_pauses_is_waited_for_while_its_head_promises_more, set_up,
                                        tear_down),
        cmocka_unit_test_setup_teardown(what_never_becomes_whole_is_taken_as_it_is_in_the_end, set_up, tear_down),
        cmocka_unit_test_setup_teardown(settings_of_the_caller_hold_for_every_session, set_up, tear_down),
        cmocka_unit_test_setup_teardown(names_that_would_harm_a_shell_or_a_terminal_are_harmless, set_up, tear_down),
        cmocka_unit_test_setup_teardown(many_takes_that_arrive_at_once_are_one_run, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_session_that_goes_is_told_of_once_and_done_again_when_it_comes, set_up,
                                        tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
