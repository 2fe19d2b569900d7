/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "support.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <time.h>

#include "base/crew.h"

enum { ADDED = 300, MOST_PIECES = 7, MOST_THREADS = 5 };

struct piece {
    size_t number, result;
};

struct shop {
    struct piece pieces[MOST_PIECES];
    void *places[MOST_PIECES];
    size_t taken;
    size_t sum;                   /* of results, in which order matters */
    size_t unworkable, untakable; /* number of a piece, from 1; 0: none */
    atomic_bool waits_for_company;
    atomic_size_t works, busy[MOST_THREADS];
    atomic_bool has_collided, has_company;
};

static void wait_for_ms(long ms)
{
    nanosleep(&(struct timespec){.tv_sec = ms / 1000, .tv_nsec = ms % 1000 * 1000000}, NULL);
}

/* Until two threads are at work at the same time; or, once, until it is clear that they will not be. */
static void wait_for_company(struct shop *shop)
{
    for (int i = 0; i < 2000 && !atomic_load(&shop->has_company); i++) {
        size_t at_work = 0;
        for (size_t w = 0; w < MOST_THREADS; w++)
            at_work += atomic_load(&shop->busy[w]);
        if (at_work > 1)
            atomic_store(&shop->has_company, true);
        wait_for_ms(1);
    }
    atomic_store(&shop->waits_for_company, false);
}

static bool work(void *context, size_t worker, void *opaque, struct tt_error *err)
{
    struct shop *shop = context;
    struct piece *piece = opaque;
    if (atomic_fetch_add(&shop->busy[worker], 1) != 0)
        atomic_store(&shop->has_collided, true);
    if (atomic_load(&shop->waits_for_company))
        wait_for_company(shop);
    else if (piece->number % 7 == 0)
        wait_for_ms(1); /* so that later ones are done first */
    piece->result = piece->number * piece->number;
    atomic_fetch_add(&shop->works, 1);
    atomic_fetch_sub(&shop->busy[worker], 1);
    return piece->number != shop->unworkable || tt_fail(err, TT_ERROR_MEMORY, "no room for it");
}

static bool take(void *context, void *opaque, struct tt_error *err)
{
    struct shop *shop = context;
    const struct piece *piece = opaque;
    if (piece->number == shop->untakable)
        return tt_fail(err, TT_ERROR_OUTPUT, "the disk is full");
    shop->sum = shop->sum * 31 + piece->result;
    shop->taken++;
    return true;
}

static struct tt_crew *open_crew(struct shop *shop, size_t threads)
{
    struct tt_error error = {0};
    for (size_t i = 0; i < MOST_PIECES; i++)
        shop->places[i] = &shop->pieces[i];
    const struct tt_crew_plan plan = {.work = work,
                                      .take = take,
                                      .context = shop,
                                      .pieces = shop->places,
                                      .piece_count = threads > 1 ? threads + 2 : 1};
    struct tt_crew *crew = tt_crew_open(&plan, threads, &error);
    assert_ok(crew != NULL, error);
    return crew;
}

static bool run(struct shop *shop, size_t threads, struct tt_error *error)
{
    struct tt_crew *crew = open_crew(shop, threads);
    bool ok = true;
    for (size_t i = 1; ok && i <= ADDED; i++) {
        struct piece *piece = tt_crew_piece(crew, error);
        ok = piece != NULL;
        if (ok) {
            *piece = (struct piece){.number = i};
            tt_crew_add(crew);
        }
    }
    ok = ok && tt_crew_finish(crew, error);
    tt_crew_close(crew);
    return ok;
}

static void pieces_are_worked_on_once_and_taken_in_order_by_one_two_and_five_threads(void **state)
{
    (void)state;
    size_t expected = 0;
    for (size_t i = 1; i <= ADDED; i++)
        expected = expected * 31 + i * i;
    static const size_t threads[] = {1, 2, 5};
    for (size_t t = 0; t < 3; t++) {
        struct shop shop = {.taken = 0};
        struct tt_error error = {0};
        assert_ok(run(&shop, threads[t], &error), error);
        assert_int_equal(shop.taken, ADDED);
        assert_int_equal(atomic_load(&shop.works), ADDED);
        assert_int_equal(shop.sum, expected);
        assert_false(atomic_load(&shop.has_collided));
    }
}

static void two_threads_work_at_the_same_time(void **state)
{
    (void)state;
    struct shop shop = {.waits_for_company = true};
    struct tt_error error = {0};
    assert_ok(run(&shop, 2, &error), error);
    assert_true(atomic_load(&shop.has_company));
}

static void a_piece_that_cannot_be_worked_on_or_taken_ends_it_with_its_words_behind_those_before(void **state)
{
    (void)state;
    for (size_t threads = 1; threads <= MOST_THREADS; threads += 2)
        for (size_t at = 1; at <= ADDED; at += ADDED - 1) {
            struct shop shop = {.unworkable = at}, other = {.untakable = at};
            struct tt_error error = {0}, other_error = {0};
            assert_false(run(&shop, threads, &error));
            assert_int_equal(error.kind, TT_ERROR_MEMORY);
            assert_string_equal(error.message, "no room for it");
            assert_int_equal(shop.taken, at - 1);
            assert_false(run(&other, threads, &other_error));
            assert_string_equal(other_error.message, "the disk is full");
            assert_int_equal(other.taken, at - 1);
        }
}

static void a_crew_that_is_closed_early_takes_nothing_more(void **state)
{
    (void)state;
    for (size_t threads = 1; threads <= MOST_THREADS; threads += 4) {
        struct shop shop = {.taken = 0};
        struct tt_error error = {0};
        struct tt_crew *crew = open_crew(&shop, threads);
        struct piece *piece = tt_crew_piece(crew, &error);
        assert_non_null(piece);
        *piece = (struct piece){.number = 1};
        tt_crew_add(crew);
        tt_crew_close(crew);
        assert_int_equal(shop.taken, 0);
    }
    tt_crew_close(NULL);
}

static void a_crew_is_as_many_as_were_wanted_and_there_is_work_for_and_one_at_least(void **state)
{
    (void)state;
    assert_int_equal(tt_crew_size(0, 4), 1);
    assert_int_equal(tt_crew_size(1, 4), 1);
    assert_int_equal(tt_crew_size(3, 4), 3);
    assert_int_equal(tt_crew_size(64, 4), 4);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pieces_are_worked_on_once_and_taken_in_order_by_one_two_and_five_threads),
        cmocka_unit_test(two_threads_work_at_the_same_time),
        cmocka_unit_test(a_piece_that_cannot_be_worked_on_or_taken_ends_it_with_its_words_behind_those_before),
        cmocka_unit_test(a_crew_that_is_closed_early_takes_nothing_more),
        cmocka_unit_test(a_crew_is_as_many_as_were_wanted_and_there_is_work_for_and_one_at_least),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
