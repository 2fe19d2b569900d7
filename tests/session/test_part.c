/* SPDX-License-Identifier: GPL-2.0-or-later */
/* --part K/N: shares of the takes by several runs on one OUT. */
#include "clean_support.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/wait.h>

static bool run_part(struct fixture *s, int part, int part_count, struct tt_clean_result *result,
                     struct tt_error *error)
{
    return clean_run(s->session, s->out, (struct clean_run){.jobs = 1, .part = part, .part_count = part_count}, result,
                     error);
}

/* The exit status of PROGRAM clean SESSION -o OUT --part K/N, started and not waited for. */
static pid_t start_part(struct fixture *s, const char *part)
{
    pid_t child = fork();
    if (child == 0) {
        execl(getenv("TIDYTAKE"), "tidytake", "clean", s->session, "-o", s->out, "-q", "-j", "1", "--part", part,
              (char *)NULL);
        _exit(127);
    }
    return child;
}

static void end_well(pid_t child)
{
    int status = -1;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 0);
}

static void side_by_side(struct fixture *s)
{
    pid_t first = start_part(s, "1/2"), second = start_part(s, "2/2");
    end_well(first);
    end_well(second);
}

static void shares_by_several_processes_leave_what_one_run_leaves(void **state)
{
    struct fixture *s = *state;
    if (!getenv("TIDYTAKE"))
        skip();
    struct tt_clean_result result =
        clean_well(s->session, in_folder(s->folder, "alone"), (struct clean_run){.jobs = 1});
    tt_clean_result_free(&result);
    side_by_side(s);
    assert_false(file_exists(in_folder(s->out, "voice/01.wav"))); /* nothing is decided yet */
    result = clean_well(s->session, s->out, (struct clean_run){.is_plan = true});
    tt_clean_result_free(&result);
    side_by_side(s);
    assert_true(file_exists(in_folder(s->out, "voice/01.wav")));
    assert_true(file_exists(in_folder(s->out, "voice/02.wav")));
    assert_false(file_exists(in_folder(s->out, "narration.wav")));
    result = clean_well(s->session, s->out, (struct clean_run){.jobs = 1});
    assert_int_equal(result.rendered_count, 0);
    tt_clean_result_free(&result);
    assert_string_equal(folder_digest(s->out, "voice"), folder_digest(in_folder(s->folder, "alone"), "voice"));
    assert_string_equal(folder_digest(s->out, "sheets"), folder_digest(in_folder(s->folder, "alone"), "sheets"));
    assert_string_equal(folder_digest(s->out, "heard"), folder_digest(in_folder(s->folder, "alone"), "heard"));
    assert_string_equal(file_digest(in_folder(s->out, "narration.wav")),
                        file_digest(in_folder(in_folder(s->folder, "alone"), "narration.wav")));
}

static void a_share_works_on_its_own_takes_only(void **state)
{
    struct fixture *s = *state;
    struct tt_clean_result result;
    struct tt_error error;
    assert_ok(run_part(s, 2, 2, &result, &error), error);
    assert_int_equal(result.take_count, 1);
    tt_clean_result_free(&result);
    /* 02.flac is the longer file and goes to the first share. */
    assert_true(file_exists(in_folder(s->out, "heard/01.bin")));
    assert_false(file_exists(in_folder(s->out, "heard/02.bin")));
}

static void more_shares_than_takes_leave_the_last_without_work(void **state)
{
    struct fixture *s = *state;
    struct tt_clean_result result;
    struct tt_error error;
    assert_ok(run_part(s, 7, 7, &result, &error), error);
    assert_int_equal(result.take_count, 0);
    tt_clean_result_free(&result);
}

static void a_whole_run_and_a_share_do_not_work_at_once(void **state)
{
    struct fixture *s = *state;
    struct tt_clean_result result;
    struct tt_error error;
    mkdir(s->out, 0777);
    mkdir(in_folder(s->out, "heard"), 0777);
    int lock = open(in_folder(s->out, ".lock"), O_RDWR | O_CREAT, 0666);
    assert_int_equal(flock(lock, LOCK_EX), 0);
    assert_false(run_part(s, 1, 2, &result, &error));
    assert_non_null(strstr(error.message, "another run is working here"));
    assert_int_equal(flock(lock, LOCK_SH), 0); /* as a share holds it */
    assert_ok(run_part(s, 1, 2, &result, &error), error);
    tt_clean_result_free(&result);
    assert_false(clean_run(s->session, s->out, (struct clean_run){.jobs = 1}, &result, &error));
    close(lock);
}

static void a_take_that_another_share_works_on_is_left_to_it(void **state)
{
    struct fixture *s = *state;
    struct tt_clean_result result;
    struct tt_error error;
    char name[200];
    mkdir(s->out, 0777);
    mkdir(in_folder(s->out, "heard"), 0777);
    /* sha256sum of "02", its first 16 digits. */
    snprintf(name, sizeof name, "heard/.%s.lock", "a953f09a1b6b6725");
    int lock = open(in_folder(s->out, name), O_RDWR | O_CREAT, 0666);
    assert_int_equal(flock(lock, LOCK_EX), 0);
    assert_ok(run_part(s, 1, 1, &result, &error), error);
    tt_clean_result_free(&result);
    assert_true(file_exists(in_folder(s->out, "heard/01.bin")));
    assert_false(file_exists(in_folder(s->out, "heard/02.bin")));
    close(lock); /* as the end of a process does, however it comes */
    assert_ok(run_part(s, 1, 1, &result, &error), error);
    tt_clean_result_free(&result);
    assert_true(file_exists(in_folder(s->out, "heard/02.bin")));
    assert_false(file_exists(in_folder(s->out, name)));
}

/* Deciding needs them all: who goes on without one must not do so in silence. */
static void a_share_that_decides_without_another_s_take_says_so(void **state)
{
    struct fixture *s = *state;
    struct tt_clean_result result;
    struct tt_error error;
    file_write(in_folder(s->session, "03.wav"), "no sound", 8); /* the shortest: of the first share */
    result = clean_well(s->session, s->out, (struct clean_run){.is_plan = true});
    tt_clean_result_free(&result);
    assert_ok(run_part(s, 2, 2, &result, &error), error);
    assert_int_equal(result.rendered_count, 1);
    assert_int_equal(result.failed_count, 1);
    tt_clean_result_free(&result);
}

static void shares_are_run_by_gnu_parallel(void **state)
{
    struct fixture *s = *state;
    char command[26000];
    if (!getenv("TIDYTAKE") || system("parallel --version 2>/dev/null | grep -q GNU") != 0) {
        print_message("skipped: GNU parallel is not installed\n");
        skip();
    }
    snprintf(command, sizeof command,
             "cd '%s' && parallel -j 3 \"$TIDYTAKE\" clean hive -q -j 1 --part {}/3 ::: 1 2 3 && \"$TIDYTAKE\" clean "
             "hive -q --plan && "
             "parallel -j 3 \"$TIDYTAKE\" clean hive -q -j 1 --part {}/3 ::: 1 2 3 && test -s hive.tidy/voice/01.wav "
             "-a -s hive.tidy/voice/02.wav && \"$TIDYTAKE\" clean hive -q",
             s->folder);
    assert_int_equal(system(command), 0);
    assert_true(file_exists(in_folder(s->out, "narration.wav")));
}

/* The script of the fixtures, with what Slurm sets for each task of an array. */
static void shares_are_tasks_of_a_job_array(void **state)
{
    struct fixture *s = *state;
    char command[26000];
    if (!getenv("TIDYTAKE") || !getenv("TIDYTAKE_FIXTURES"))
        skip();
    snprintf(command, sizeof command,
             "tasks() { for task in 1 2 3; do SLURM_ARRAY_TASK_ID=$task SLURM_ARRAY_TASK_COUNT=3 SLURM_CPUS_PER_TASK=1 "
             "\"$TIDYTAKE_FIXTURES/part_job.sh\" '%s' '%s' || exit 1; done; }; "
             "tasks && \"$TIDYTAKE\" clean '%s' -q --plan && tasks && test -s '%s/voice/01.wav' -a -s "
             "'%s/voice/02.wav' && \"$TIDYTAKE\" clean '%s' -q",
             s->session, s->out, s->session, s->out, s->out, s->session);
    assert_int_equal(system(command), 0);
    assert_true(file_exists(in_folder(s->out, "narration.wav")));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(shares_by_several_processes_leave_what_one_run_leaves, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_share_works_on_its_own_takes_only, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(more_shares_than_takes_leave_the_last_without_work, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_whole_run_and_a_share_do_not_work_at_once, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_take_that_another_share_works_on_is_left_to_it, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_share_that_decides_without_another_s_take_says_so, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(shares_are_run_by_gnu_parallel, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(shares_are_tasks_of_a_job_array, fixture_set_up, fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
