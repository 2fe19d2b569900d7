/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Watching without notices, as on network file systems, or where the queue of events overflowed and lost them
 * (inotify(7)): this program is linked with notices that never tell anything. Only looking again finds what moved. */
#include "clean_support.h"

#include "watch_support.h"

#include <fcntl.h>

#include "session/notice.h"

struct tt_notice *tt_notice_open(void) { return NULL; }
void tt_notice_folder(struct tt_notice *notice, const char *path) { (void)notice, (void)path; }
void tt_notice_close(struct tt_notice *notice) { (void)notice; }
void tt_notice_wait(struct tt_notice *notice, double wait_s)
{
    (void)notice;
    nanosleep(&(struct timespec){.tv_sec = (time_t)wait_s, .tv_nsec = (long)((wait_s - (double)(time_t)wait_s) * 1e9)},
              NULL);
}

static void what_arrives_without_notice_is_found_and_a_sheet_obeyed(void **state)
{
    struct watching *w = *state;
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    copy_fixture_session(in_folder(w->inbox, "hive"));
    assert_true(arrives(in_folder(w->out, "hive/session.json")));
    nanosleep(&(struct timespec){.tv_nsec = 500000000}, NULL); /* the run is over */
    file_append(in_folder(w->out, "hive/sheets/01.csv"), "01.flac,,00:00:10.000,00:00:10.000,gap,,open,3.000,,,\r\n");
    for (int i = 0; i < 1200 && !is_said(w, "1 of 2 takes done anew", 1); i++)
        nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
    w->stop = 1;
    pthread_join(w->thread, NULL);
    assert_true(w->is_well);
    if (!is_said(w, "1 of 2 takes done anew", 1))
        fail_msg("%s", w->said);
}

/* A recorder's clock, or this machine's, may be years off, or be set while the watch runs: nothing is measured against
 * it. */
static void files_of_other_times_are_taken_once(void **state)
{
    struct watching *w = *state;
    copy_fixture_session(in_folder(w->inbox, "hive"));
    const struct timespec future[2] = {{.tv_sec = 4102444800}, {.tv_sec = 4102444800}},
                          past[2] = {{.tv_sec = 1}, {.tv_sec = 1}}; /* 2100, 1970 */
    assert_int_equal(utimensat(AT_FDCWD, in_folder(w->inbox, "hive/01.flac"), future, 0), 0);
    assert_int_equal(utimensat(AT_FDCWD, in_folder(w->inbox, "hive/02.flac"), past, 0), 0);
    assert_int_equal(pthread_create(&w->thread, NULL, work, w), 0);
    assert_true(arrives(in_folder(w->out, "hive/session.json")));
    rest_s(0.5); /* looked at more than once, and settled */
    w->stop = 1;
    pthread_join(w->thread, NULL);
    assert_true(is_said(w, "2 of 2 takes done anew", 1) && is_said(w, "done anew", 1));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_arrives_without_notice_is_found_and_a_sheet_obeyed, set_up, tear_down),
        cmocka_unit_test_setup_teardown(files_of_other_times_are_taken_once, set_up, tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
