/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "support.h"

#include <stdatomic.h>
#include <time.h>

#include "base/turns.h"
#include "session/jobs.h"

enum { ITEMS = 40, MOST_MS = 5000 };

struct shift {
    double weights[ITEMS];
    size_t wanted; /* items under way at once that are waited for */
    atomic_size_t at_work, most_at_work, under_way, most_under_way, waited_ms;
    atomic_size_t times[ITEMS];
    atomic_bool is_out_of_order;
    double last_weight; /* with one thread */
};

static void one_more(atomic_size_t *count, atomic_size_t *most)
{
    size_t now = atomic_fetch_add(count, 1) + 1, before = atomic_load(most);
    while (now > before && !atomic_compare_exchange_weak(most, &before, now))
        continue;
}

/* Waits as for a medium, until as many items are under way as are wanted, or it is clear that they will not come. */
static void wait_for_company(struct shift *shift)
{
    while (atomic_load(&shift->most_under_way) < shift->wanted && atomic_fetch_add(&shift->waited_ms, 1) < MOST_MS)
        nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
}

static void work(void *context, size_t item)
{
    struct shift *shift = context;
    one_more(&shift->under_way, &shift->most_under_way);
    one_more(&shift->at_work, &shift->most_at_work);
    atomic_fetch_add(&shift->times[item], 1);
    nanosleep(&(struct timespec){.tv_nsec = 200000}, NULL);
    atomic_fetch_sub(&shift->at_work, 1);
    tt_turn_lend();
    wait_for_company(shift);
    tt_turn_take_back();
    one_more(&shift->at_work, &shift->most_at_work);
    atomic_fetch_sub(&shift->at_work, 1);
    atomic_fetch_sub(&shift->under_way, 1);
}

static void work_alone(void *context, size_t item)
{
    struct shift *shift = context;
    if (shift->weights[item] > shift->last_weight)
        atomic_store(&shift->is_out_of_order, true);
    shift->last_weight = shift->weights[item];
    work(context, item);
}

static void run(struct shift *shift, int threads, tt_job job)
{
    struct tt_error error = {0};
    for (size_t i = 0; i < ITEMS; i++)
        shift->weights[i] = (double)(i * 7 % 10);
    shift->last_weight = 10;
    assert_ok(tt_jobs_run(ITEMS, shift->weights, threads, job, shift, &error), error);
    for (size_t i = 0; i < ITEMS; i++)
        assert_int_equal(atomic_load(&shift->times[i]), shift->weights[i] > 0);
}

static void every_item_that_weighs_something_is_worked_on_once_the_heaviest_first(void **state)
{
    (void)state;
    struct shift shift = {.wanted = 1};
    run(&shift, 1, work_alone);
    assert_false(atomic_load(&shift.is_out_of_order));
    assert_int_equal(atomic_load(&shift.most_under_way), 1); /* one job is one thread */
}

static void while_two_wait_for_their_medium_others_work_but_never_more_than_two_at_once(void **state)
{
    (void)state;
    struct shift shift = {.wanted = 4};
    run(&shift, 2, work);
    assert_true(atomic_load(&shift.most_under_way) >= 4);
    assert_in_range(atomic_load(&shift.most_at_work), 1, 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_item_that_weighs_something_is_worked_on_once_the_heaviest_first),
        cmocka_unit_test(while_two_wait_for_their_medium_others_work_but_never_more_than_two_at_once),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
