/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/median.h"

enum { MOST = 40, ROUNDS = 40 };

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Few different values: many are alike. */
static void draw(uint32_t *state, double *values, double *sorted, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        *state = *state * 1664525u + 1013904223u;
        values[i] = (double)(*state >> 27) - 10.0;
    }
    memcpy(sorted, values, count * sizeof *sorted);
    qsort(sorted, count, sizeof *sorted, by_value);
}

static void any_place_has_what_sorting_puts_there(void **state)
{
    (void)state;
    uint32_t random = 1;
    for (size_t count = 1; count <= MOST; count++)
        for (size_t n = 0; n < count; n++) {
            double values[MOST], sorted[MOST];
            draw(&random, values, sorted, count);
            assert_true(tt_nth_smallest(values, count, n) == sorted[n]);
            for (size_t i = 0; i < count; i++)
                assert_true(i < n ? values[i] <= values[n] : values[i] >= values[n]);
            qsort(values, count, sizeof *values, by_value);
            assert_memory_equal(values, sorted, count * sizeof *values); /* none got lost */
        }
}

static void the_median_is_the_middle_value_or_the_mean_of_the_middle_two(void **state)
{
    (void)state;
    uint32_t random = 2;
    for (size_t count = 1; count <= MOST; count++)
        for (int round = 0; round < ROUNDS; round++) {
            double values[MOST], sorted[MOST];
            draw(&random, values, sorted, count);
            const double expected = (sorted[count / 2] + sorted[(count - 1) / 2]) / 2;
            assert_true(tt_median(values, count) == expected);
        }
    assert_true(isnan(tt_median(NULL, 0)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_place_has_what_sorting_puts_there),
        cmocka_unit_test(the_median_is_the_middle_value_or_the_mean_of_the_middle_two),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
