/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "support.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/relay.h"

enum { MOST = 1000, BLOCKS = 500 };

struct taker {
    double sum;
    size_t blocks, samples, fails_at;
    long pause_ns;
};

static bool take(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct taker *taker = context;
    if (taker->fails_at && taker->blocks + 1 == taker->fails_at)
        return tt_fail(err, TT_ERROR_OUTPUT, "the disk is full");
    if (taker->pause_ns)
        nanosleep(&(struct timespec){.tv_nsec = taker->pause_ns}, NULL);
    for (size_t i = 0; i < count; i++)
        taker->sum = taker->sum * 0.999 + samples[i]; /* order matters */
    taker->samples += count;
    taker->blocks++;
    return true;
}

static bool run(struct taker *taker, bool wants_thread, struct tt_error *error)
{
    float block[MOST];
    struct tt_relay *relay = tt_relay_open(take, taker, MOST, wants_thread, error);
    bool ok = relay != NULL;
    for (size_t i = 0; ok && i < BLOCKS; i++) {
        size_t count = (i * 37) % MOST + 1;
        float *own = i % 2 ? tt_relay_room(relay, error) : block; /* every other one is written where it waits */
        for (size_t k = 0; own && k < count; k++)
            own[k] = (float)((i * 7919 + k * 104729) % 1000) / 1000;
        ok = own && (i % 2 ? tt_relay_hand_on(relay, count, error) : tt_relay_add(relay, block, count, error));
        memset(block, 0xFF, sizeof block); /* the caller's own again */
    }
    ok = ok && tt_relay_finish(relay, error);
    tt_relay_close(relay);
    return ok;
}

static void a_thread_takes_the_same_blocks_in_the_same_order(void **state)
{
    (void)state;
    struct taker alone = {0}, threaded = {0}, slow = {.pause_ns = 100000};
    struct tt_error error = {0};
    assert_ok(run(&alone, false, &error), error);
    assert_ok(run(&threaded, true, &error), error);
    assert_ok(run(&slow, true, &error), error);
    assert_int_equal(alone.blocks, BLOCKS);
    assert_int_equal(threaded.blocks, BLOCKS);
    assert_int_equal(threaded.samples, alone.samples);
    assert_memory_equal(&threaded.sum, &alone.sum, sizeof alone.sum);
    assert_memory_equal(&slow.sum, &alone.sum, sizeof alone.sum);
}

static void a_block_that_cannot_be_taken_ends_it_with_the_takers_words(void **state)
{
    (void)state;
    for (int threaded = 0; threaded < 2; threaded++)
        for (size_t at = 1; at <= BLOCKS; at += BLOCKS - 1) {
            struct taker taker = {.fails_at = at};
            struct tt_error error = {0};
            assert_false(run(&taker, threaded, &error));
            assert_int_equal(error.kind, TT_ERROR_OUTPUT);
            assert_string_equal(error.message, "the disk is full");
            assert_int_equal(taker.blocks, at - 1);
        }
}

static void a_block_that_is_too_long_is_refused(void **state)
{
    (void)state;
    for (int threaded = 0; threaded < 2; threaded++) {
        struct taker taker = {0};
        struct tt_error error = {0};
        struct tt_relay *relay = tt_relay_open(take, &taker, MOST, threaded, &error);
        assert_non_null(tt_relay_room(relay, &error));
        assert_false(tt_relay_hand_on(relay, MOST + 1, &error));
        assert_int_equal(error.kind, TT_ERROR_INTERNAL);
        tt_relay_close(relay);
        assert_int_equal(taker.blocks, 0);
    }
}

/* Fewer than the thread is woken for. */
static void the_last_few_blocks_are_taken_at_the_end(void **state)
{
    (void)state;
    struct taker taker = {0};
    struct tt_error error = {0};
    float block[MOST] = {0};
    struct tt_relay *relay = tt_relay_open(take, &taker, MOST, true, &error);
    assert_ok(tt_relay_add(relay, block, MOST, &error), error);
    assert_ok(tt_relay_finish(relay, &error), error);
    assert_int_equal(taker.blocks, 1);
    tt_relay_close(relay);
}

static void a_relay_that_is_closed_early_drops_what_waits(void **state)
{
    (void)state;
    struct taker taker = {.pause_ns = 100000000};
    struct tt_error error = {0};
    float block[MOST] = {0};
    struct tt_relay *relay = tt_relay_open(take, &taker, MOST, true, &error);
    for (int i = 0; i < 4; i++)
        assert_ok(tt_relay_add(relay, block, MOST, &error), error);
    tt_relay_close(relay);
    assert_true(taker.blocks < 4); /* all four would take 0.4 s, and closing comes at once */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_thread_takes_the_same_blocks_in_the_same_order),
        cmocka_unit_test(a_block_that_cannot_be_taken_ends_it_with_the_takers_words),
        cmocka_unit_test(a_block_that_is_too_long_is_refused),
        cmocka_unit_test(the_last_few_blocks_are_taken_at_the_end),
        cmocka_unit_test(a_relay_that_is_closed_early_drops_what_waits),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
