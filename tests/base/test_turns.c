/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "support.h"

#include <pthread.h>
#include <stdatomic.h>
#include <time.h>

#include "base/turns.h"

enum { THREADS = 6, ROUNDS = 20, MOST_MS = 5000 };

struct room {
    struct tt_turns turns;
    size_t wanted; /* so many at work, or waiting with their turn lent, are waited for */
    atomic_size_t at_work, most_at_work, lent, most_lent;
};

static void open_room(struct room *room, size_t turns, size_t wanted)
{
    *room = (struct room){.wanted = wanted};
    tt_turns_open(&room->turns, turns);
}

static void one_more(atomic_size_t *count, atomic_size_t *most)
{
    size_t now = atomic_fetch_add(count, 1) + 1, before = atomic_load(most);
    while (now > before && !atomic_compare_exchange_weak(most, &before, now))
        continue;
}

/* Until as many have been there as are wanted, or it is clear that they will not come. */
static void wait_for(const struct room *room, const atomic_size_t *most)
{
    for (int ms = 0; ms < MOST_MS && atomic_load(most) < room->wanted; ms++)
        nanosleep(&(struct timespec){.tv_nsec = 1000000}, NULL);
}

static void run_threads(struct room *room, void *(*work)(void *))
{
    pthread_t threads[THREADS];
    for (size_t i = 0; i < THREADS; i++)
        assert_int_equal(pthread_create(&threads[i], NULL, work, room), 0);
    for (size_t i = 0; i < THREADS; i++)
        pthread_join(threads[i], NULL);
    tt_turns_close(&room->turns);
}

static void *work_often(void *opaque)
{
    struct room *room = opaque;
    tt_turns_enter(&room->turns);
    for (int i = 0; i < ROUNDS; i++) {
        one_more(&room->at_work, &room->most_at_work);
        wait_for(room, &room->most_at_work);
        nanosleep(&(struct timespec){.tv_nsec = 100000}, NULL); /* long enough for others to be seen */
        atomic_fetch_sub(&room->at_work, 1);
        tt_turn_lend();
        tt_turn_take_back();
    }
    tt_turns_leave();
    return NULL;
}

static void as_many_work_at_once_as_there_are_turns_and_no_more(void **state)
{
    (void)state;
    for (size_t turns = 1; turns <= 3; turns++) {
        struct room room;
        open_room(&room, turns, turns);
        run_threads(&room, work_often);
        assert_int_equal(atomic_load(&room.most_at_work), turns);
    }
}

static void *wait_lending(void *opaque)
{
    struct room *room = opaque;
    tt_turns_enter(&room->turns);
    tt_turn_lend();
    one_more(&room->lent, &room->most_lent);
    wait_for(room, &room->most_lent);
    tt_turn_take_back();
    tt_turns_leave();
    return NULL;
}

static void who_waits_lends_its_turn_to_the_next(void **state)
{
    (void)state;
    struct room room;
    open_room(&room, 1, THREADS);
    run_threads(&room, wait_lending);
    assert_int_equal(atomic_load(&room.most_lent), THREADS);
}

static void a_thread_without_a_turn_waits_for_none(void **state)
{
    (void)state;
    tt_turn_lend();
    tt_turn_take_back();
    struct tt_turns turns;
    tt_turns_open(&turns, 1);
    tt_turns_enter(&turns);
    tt_turns_leave();
    tt_turn_lend(); /* it has left */
    tt_turn_take_back();
    assert_int_equal(turns.free_count, 1);
    tt_turns_close(&turns);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(as_many_work_at_once_as_there_are_turns_and_no_more),
        cmocka_unit_test(who_waits_lends_its_turn_to_the_next),
        cmocka_unit_test(a_thread_without_a_turn_waits_for_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
