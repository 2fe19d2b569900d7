/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Watching on while folders, media and room on them go and come. */
#include "clean_support.h"

#include "watch_support.h"

#include <sys/file.h>

#include "session/watch_parts.h"

static int set_up_quickly(void **state)
{
    set_up(state);
    struct watching *w = *state;
    static const char ini[] = "[watch]\nsettle_s = 0.01\n"; /* what failed is tried again after 15 times as long */
    file_write(in_folder(w->inbox, "tidytake.ini"), ini, sizeof ini - 1);
    return 0;
}

static void move(const char *from, const char *to)
{
    if (rename(from, to) != 0)
        fail_msg("%s -> %s", from, to);
}

static void start(struct watching *w) { assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0); }

static void a_folder_that_goes_and_comes_is_told_of_once_and_watched_on(void **state)
{
    struct watching *w = *state;
    char away[4096];
    snprintf(away, sizeof away, "%s", in_folder(w->folder, "away"));
    copy_fixture_session(in_folder(w->inbox, "hive"));
    start(w);
    assert_true(gets_said(w, "takes done anew", 1));
    move(w->inbox, away);
    assert_true(gets_said(w, "goes on when it can be read again", 1));
    move(in_folder(away, "hive/02.flac"), in_folder(away, "hive/03.flac"));
    rest_s(5 * PULSE_S); /* looked for once more, at least */
    move(away, w->inbox);
    assert_true(gets_said(w, "takes done anew", 2));
    end_watch(w);
    assert_true(is_said(w, "goes on when it can be read again", 1) && is_said(w, "inbox: there again", 1));
    assert_true(file_exists(in_folder(w->out, "hive/voice/03.wav")));
}

/* As with another card in the same place, or a medium whose mount point stays. */
static void a_folder_in_the_place_of_another_is_told_of_and_watched(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    mkdir(in_folder(w->folder, "other"), 0777);
    copy_fixture_session(in_folder(w->folder, "other/comb"));
    start(w);
    assert_true(gets_said(w, "takes done anew", 1));
    char old[4096];
    snprintf(old, sizeof old, "%s", in_folder(w->folder, "old"));
    move(w->inbox, old);
    move(in_folder(w->folder, "other"), w->inbox);
    assert_true(gets_said(w, "comb: 2 of 2 takes done anew", 1));
    end_watch(w);
    assert_true(is_said(w, "inbox: another folder is there now", 1));
    assert_true(file_exists(in_folder(w->out, "hive/voice/01.wav"))); /* what was made of the other stays */
}

static void results_that_could_not_be_written_are_tried_again_without_a_change(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    file_write(w->out, "in the way", 10);
    start(w);
    assert_true(gets_said(w, "hive: ", 1));
    rest_s(0.4); /* tried again in vain, at least once */
    const bool was_told_once = is_said(w, "hive: ", 1);
    unlink(w->out);
    assert_true(gets_said(w, "2 of 2 takes done anew", 1));
    end_watch(w);
    if (!was_told_once)
        fail_msg("%s", w->said);
}

static void another_run_on_the_results_is_waited_for(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    mkdir(w->out, 0777);
    mkdir(in_folder(w->out, "hive"), 0777);
    const int lock = open(in_folder(w->out, "hive/.lock"), O_RDWR | O_CREAT, 0666);
    assert_int_equal(flock(lock, LOCK_EX), 0);
    start(w);
    assert_true(gets_said(w, "another run is working here", 1));
    close(lock);
    assert_true(gets_said(w, "2 of 2 takes done anew", 1));
    end_watch(w);
}

static void a_take_whose_voice_could_not_be_written_is_tried_again_without_a_change(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    mkdir(w->out, 0777);
    mkdir(in_folder(w->out, "hive"), 0777);
    mkdir(in_folder(w->out, "hive/heard"), 0777); /* as left by a run */
    mkdir(in_folder(w->out, "hive/voice"), 0777);
    mkdir(in_folder(w->out, "hive/voice/01.wav"), 0777);
    start(w);
    assert_true(gets_said(w, "1 failed", 1));
    rmdir(in_folder(w->out, "hive/voice/01.wav"));
    assert_true(gets_said(w, "1 of 2 takes done anew, 0 questions open, 0 failed", 1));
    end_watch(w);
    assert_true(is_said(w, "hive: 01.flac: ", 1));
}

/* ---- where the results lie ---- */

/* A watch that has one session; its results lay on another device than they would now. */
static struct tt_watch watch_of(struct watching *w, const struct tt_watch_words *words, struct tt_watched *session)
{
    static char hive[4096];
    struct stat status;
    assert_int_equal(stat(w->inbox, &status), 0);
    snprintf(hive, sizeof hive, "%s", in_folder(w->out, "hive"));
    *session = (struct tt_watched){.out = hive, .has_run = true};
    return (struct tt_watch){.words = words,
                             .folder = w->inbox,
                             .out = w->out,
                             .sessions = session,
                             .count = 1,
                             .out_place = {.device = status.st_dev + 1, .is_known = true}};
}

static void nothing_is_written_where_the_medium_with_the_results_is_missing(void **state)
{
    struct watching *w = *state;
    const struct tt_watch_words words = {.context = w, .note = say};
    struct tt_watched session;
    struct tt_watch watch = watch_of(w, &words, &session);
    assert_true(tt_watch_out_is_away(&watch) && tt_watch_out_is_away(&watch));
    assert_true(is_said(w, "the medium with the results is not there", 1));
    mkdir(w->out, 0777); /* it comes back, under another number */
    mkdir(in_folder(w->out, "hive"), 0777);
    assert_false(tt_watch_out_is_away(&watch) || tt_watch_out_is_away(&watch));
    assert_true(is_said(w, "inbox.tidy: there again", 1));
}

static void results_that_somebody_removed_are_made_again(void **state)
{
    struct watching *w = *state;
    const struct tt_watch_words words = {.context = w, .note = say};
    struct tt_watched session;
    struct tt_watch watch = watch_of(w, &words, &session);
    watch.out_place.device--; /* on the same device as before */
    assert_false(tt_watch_out_is_away(&watch));
}

static void another_card_with_takes_gets_its_results_beside_them(void **state)
{
    struct watching *w = *state;
    const struct tt_watch_words words = {.context = w, .note = say};
    struct tt_watched session;
    struct tt_watch watch = watch_of(w, &words, &session);
    watch.was_out_with_folder = true;
    assert_false(tt_watch_out_is_away(&watch));
    assert_string_equal(w->said, "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_folder_that_goes_and_comes_is_told_of_once_and_watched_on, set_up_quickly,
                                        tear_down),
        cmocka_unit_test_setup_teardown(a_folder_in_the_place_of_another_is_told_of_and_watched, set_up_quickly,
                                        tear_down),
        cmocka_unit_test_setup_teardown(results_that_could_not_be_written_are_tried_again_without_a_change,
                                        set_up_quickly, tear_down),
        cmocka_unit_test_setup_teardown(another_run_on_the_results_is_waited_for, set_up_quickly, tear_down),
        cmocka_unit_test_setup_teardown(a_take_whose_voice_could_not_be_written_is_tried_again_without_a_change,
                                        set_up_quickly, tear_down),
        cmocka_unit_test_setup_teardown(nothing_is_written_where_the_medium_with_the_results_is_missing, set_up_quickly,
                                        tear_down),
        cmocka_unit_test_setup_teardown(results_that_somebody_removed_are_made_again, set_up_quickly, tear_down),
        cmocka_unit_test_setup_teardown(another_card_with_takes_gets_its_results_beside_them, set_up_quickly,
                                        tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
