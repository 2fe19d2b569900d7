/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "support.h"

#include <stdlib.h>
#include <string.h>

#include "pipeline/unit_row.h"

enum { UNIT = 100, RUN_IN = 30, AHEAD = 17, MOST = 1000 };

/* Each sample out is made of all that a unit promises to have around it: a sample that is missing, twice there or in
 * the wrong place shows. */
static int64_t smear(const float *samples, int64_t count, int64_t at)
{
    int64_t sum = 0;
    for (int64_t i = at - RUN_IN; i <= at + AHEAD; i++)
        sum = (sum * 3 + (i >= 0 && i < count ? (int64_t)samples[i] : 7)) % 100003;
    return sum;
}

static void run_smear(void *state, size_t worker, const struct tt_unit *unit)
{
    (void)state;
    assert_true(worker < 5);
    float *out = calloc(unit->length + 1, sizeof *out);
    for (size_t i = 0; i < unit->length; i++)
        out[i] = (float)smear(unit->samples, (int64_t)unit->count, (int64_t)(unit->run_in + i));
    memcpy(unit->samples, out, unit->length * sizeof *out);
    free(out);
}

struct heap {
    float samples[MOST];
    size_t count;
};

static bool gather(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct heap *heap = context;
    (void)err;
    assert_true(heap->count + count <= MOST);
    memcpy(heap->samples + heap->count, samples, count * sizeof *samples);
    heap->count += count;
    return true;
}

static const struct tt_unit_link link_of_smear = {
    .unit_samples = UNIT, .run_in_samples = RUN_IN, .ahead_samples = AHEAD, .run = run_smear};

static void check(int64_t start, int64_t length, size_t threads, size_t cut)
{
    struct tt_error error = {0};
    struct heap heap = {.count = 0};
    float in[MOST];
    for (int64_t i = 0; i < length; i++)
        in[i] = (float)(i * i % 1009);
    struct tt_unit_row *row = tt_unit_row_open(&link_of_smear, start, length, threads, gather, &heap, &error);
    assert_ok(row != NULL, error);
    for (size_t at = 0; at < (size_t)length; at += cut)
        assert_ok(tt_unit_row_add(row, in + at, (size_t)length - at < cut ? (size_t)length - at : cut, &error), error);
    assert_ok(tt_unit_row_finish(row, &error), error);
    tt_unit_row_close(row);
    assert_int_equal(heap.count, length);
    for (int64_t i = 0; i < length; i++)
        if (heap.samples[i] != (float)smear(in, length, i))
            fail_msg("sample %lld of %lld from %lld on, %zu threads", (long long)i, (long long)length, (long long)start,
                     threads);
}

/* At lengths around whole units, and around those whose end lies within what is looked ahead to. */
static void units_get_all_that_lies_around_them_whatever_the_threads_and_blocks(void **state)
{
    (void)state;
    static const int64_t lengths[] = {1, 5, 30, 99, 100, 101, 117, 118, 199, 200, 216, 217, 218, 600, 777};
    static const size_t cuts[] = {1, 13, 117, MOST};
    for (size_t threads = 1; threads <= 5; threads += threads == 1 ? 1 : 3)
        for (size_t l = 0; l < sizeof lengths / sizeof *lengths; l++)
            for (size_t c = 0; c < 4; c++) {
                check(0, lengths[l], threads, cuts[c]);
                check(3 * UNIT + 40, lengths[l], threads, cuts[c]);
            }
}

static void a_stream_of_nothing_comes_out_as_nothing(void **state)
{
    (void)state;
    check(0, 0, 1, 1);
    check(0, 0, 2, 1);
}

static void a_stream_longer_than_promised_is_refused(void **state)
{
    (void)state;
    struct tt_error error = {0};
    struct heap heap = {.count = 0};
    const float in[12] = {0};
    struct tt_unit_row *row = tt_unit_row_open(&link_of_smear, 0, 11, 2, gather, &heap, &error);
    assert_non_null(row);
    assert_false(tt_unit_row_add(row, in, 12, &error));
    assert_int_equal(error.kind, TT_ERROR_INTERNAL);
    tt_unit_row_close(row);
}

static bool refuse(void *context, const float *samples, size_t count, struct tt_error *err)
{
    (void)context;
    (void)samples;
    (void)count;
    return tt_fail(err, TT_ERROR_OUTPUT, "the disk is full");
}

static void what_cannot_be_taken_behind_it_ends_it(void **state)
{
    (void)state;
    const float in[MOST] = {0};
    for (size_t threads = 1; threads <= 2; threads++) {
        struct tt_error error = {0};
        struct tt_unit_row *row = tt_unit_row_open(&link_of_smear, 0, MOST, threads, refuse, NULL, &error);
        assert_non_null(row);
        assert_false(tt_unit_row_add(row, in, MOST, &error));
        assert_string_equal(error.message, "the disk is full");
        tt_unit_row_close(row);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(units_get_all_that_lies_around_them_whatever_the_threads_and_blocks),
        cmocka_unit_test(a_stream_of_nothing_comes_out_as_nothing),
        cmocka_unit_test(a_stream_longer_than_promised_is_refused),
        cmocka_unit_test(what_cannot_be_taken_behind_it_ends_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
