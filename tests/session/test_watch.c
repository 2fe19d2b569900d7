/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "clean_support.h"

#include <pthread.h>
#include <sys/stat.h>
#include <time.h>

#include "session/watch.h"

struct watching {
    char *folder;
    char inbox[4096], out[4096];
    atomic_int stop;
    pthread_t thread;
    pthread_mutex_t mutex; /* of said */
    char said[20000];
    struct tt_error error;
    bool is_well;
};

static void say(void *context, const char *line)
{
    struct watching *w = context;
    pthread_mutex_lock(&w->mutex);
    strncat(w->said, line, sizeof w->said - strlen(w->said) - 2);
    strcat(w->said, "\n");
    pthread_mutex_unlock(&w->mutex);
}

static int set_up(void **state)
{
    struct watching *w = calloc(1, sizeof *w);
    w->folder = folder_make();
    pthread_mutex_init(&w->mutex, NULL);
    snprintf(w->inbox, sizeof w->inbox, "%s/inbox", w->folder);
    snprintf(w->out, sizeof w->out, "%s/inbox.tidy", w->folder);
    mkdir(w->inbox, 0777);
    file_write(in_folder(w->inbox, "tidytake.ini"), "[watch]\nsettle_s = 0.2\n", 23);
    *state = w;
    return 0;
}

static int tear_down(void **state)
{
    struct watching *w = *state;
    folder_remove(w->folder);
    free(w);
    return 0;
}

static void *work(void *context)
{
    struct watching *w = context;
    struct tt_watch_options options = {.folder = w->inbox, .stop = &w->stop};
    struct tt_watch_words words = {.context = w, .sum_up = say, .note = say};
    w->is_well = tt_watch(&options, &words, &w->error);
    return NULL;
}

static bool watch_once(struct watching *w)
{
    struct tt_watch_options options = {.folder = w->inbox, .is_once = true};
    struct tt_watch_words words = {.context = w, .sum_up = say, .note = say};
    return tt_watch(&options, &words, &w->error);
}

/* True when path is there within some time; tests must not depend on how quick the machine is. */
static bool arrives(const char *path)
{
    for (int i = 0; i < 1200 && !file_exists(path); i++)
        nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
    return file_exists(path);
}

static bool is_said(struct watching *w, const char *text, int times)
{
    int found = 0;
    pthread_mutex_lock(&w->mutex);
    for (const char *at = w->said; (at = strstr(at, text)); at++)
        found++;
    pthread_mutex_unlock(&w->mutex);
    return found == times;
}

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
        is_new = file_exists(in_folder(w->out, "hive/voice/01.wav")) && strcmp(before, file_digest(in_folder(w->out, "hive/voice/01.wav"))) != 0;
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
    struct tt_watch_options options = {.folder = w->inbox, .is_once = true, .settings_file = in_folder(w->folder, "mine.ini"), .target = "audiobook"};
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

static void a_folder_that_is_gone_ends_the_watch_with_an_error(void **state)
{
    struct watching *w = *state;
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    nanosleep(&(struct timespec){.tv_nsec = 300000000}, NULL);
    unlink(in_folder(w->inbox, "tidytake.ini"));
    rmdir(w->inbox);
    pthread_join(w->thread, NULL);
    assert_false(w->is_well);
    assert_non_null(strstr(w->error.message, "cannot be watched any longer"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(each_sub_folder_is_a_session_of_its_own, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_arrives_is_cleaned_and_a_saved_sheet_is_obeyed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_bad_file_is_reported_once_and_the_others_are_done, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_program_is_run_behind_each_session_with_the_page_as_its_argument, set_up, tear_down),
        cmocka_unit_test_setup_teardown(takes_that_are_links_are_not_followed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_sub_folder_of_the_same_name_has_results_of_its_own, set_up, tear_down),
        cmocka_unit_test_setup_teardown(once_ends_with_an_error_when_a_take_could_not_be_done, set_up, tear_down),
        cmocka_unit_test_setup_teardown(links_that_lead_out_of_the_folder_are_not_followed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_copy_that_pauses_is_waited_for_while_its_head_promises_more, set_up, tear_down),
        cmocka_unit_test_setup_teardown(what_never_becomes_whole_is_taken_as_it_is_in_the_end, set_up, tear_down),
        cmocka_unit_test_setup_teardown(settings_of_the_caller_hold_for_every_session, set_up, tear_down),
        cmocka_unit_test_setup_teardown(names_that_would_harm_a_shell_or_a_terminal_are_harmless, set_up, tear_down),
        cmocka_unit_test_setup_teardown(a_folder_that_is_gone_ends_the_watch_with_an_error, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
