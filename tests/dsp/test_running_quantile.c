/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The check is the definition: the same share of a sorted copy of the window. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <cmocka.h>

#include "dsp/running_quantile.h"

static int rising(const void *a, const void *b)
{
    float x = *(const float *)a, y = *(const float *)b;
    return (x > y) - (x < y);
}

static float made_level(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return -90.0f + 60.0f * (float)(*state >> 8) / 16777216.0f;
}

static void a_sliding_window_has_the_quantiles_of_a_sorted_copy(void **state)
{
    (void)state;
    enum { COUNT = 4000, WINDOW = 1000 };
    struct tt_running_quantile window = {0};
    float *levels = malloc(COUNT * sizeof *levels), *sorted = malloc(WINDOW * sizeof *sorted);
    assert_non_null(levels);
    assert_non_null(sorted);
    uint32_t random = 7;
    for (int i = 0; i < COUNT; i++) {
        levels[i] = made_level(&random) + (float)i / 200.0f;
        tt_running_quantile_add(&window, tt_level_step(levels[i]));
        if (i >= WINDOW)
            tt_running_quantile_remove(&window, tt_level_step(levels[i - WINDOW]));
        if (i < WINDOW || i % 500 != 0)
            continue;
        for (int k = 0; k < WINDOW; k++)
            sorted[k] = levels[i - WINDOW + 1 + k];
        qsort(sorted, WINDOW, sizeof *sorted, rising);
        for (double share = 0.02; share < 1.0; share += 0.07)
            assert_true(fabsf(tt_running_quantile_at(&window, share) - sorted[(int)(share * WINDOW)]) < 0.6f);
    }
    free(levels);
    free(sorted);
}

static void an_empty_window_has_none(void **state)
{
    (void)state;
    struct tt_running_quantile window = {0};
    assert_true(isinf(tt_running_quantile_at(&window, 0.5)));
    tt_running_quantile_add(&window, tt_level_step(-40.0f));
    tt_running_quantile_remove(&window, tt_level_step(-40.0f));
    assert_true(isinf(tt_running_quantile_at(&window, 0.02)));
}

static void levels_off_the_scale_go_into_the_outermost_steps(void **state)
{
    (void)state;
    assert_int_equal(tt_level_step(-INFINITY), 0);
    assert_int_equal(tt_level_step(NAN), 0);
    assert_int_equal(tt_level_step(-400.0f), 0);
    assert_int_equal(tt_level_step(INFINITY), TT_LEVEL_STEPS - 1);
    assert_int_equal(tt_level_step(1e9f), TT_LEVEL_STEPS - 1);
    assert_true(fabsf(tt_level_of_step(tt_level_step(-60.1f)) + 60.1f) <= 0.25f);
}

static void the_whole_share_is_the_highest_level(void **state)
{
    (void)state;
    struct tt_running_quantile window = {0};
    for (int i = 0; i < 100; i++)
        tt_running_quantile_add(&window, tt_level_step(-80.0f + (float)i / 2.0f));
    assert_true(fabsf(tt_running_quantile_at(&window, 1.0) + 30.0f) < 0.6f);
    assert_true(fabsf(tt_running_quantile_at(&window, 0.0) + 80.0f) < 0.6f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sliding_window_has_the_quantiles_of_a_sorted_copy),
        cmocka_unit_test(an_empty_window_has_none),
        cmocka_unit_test(levels_off_the_scale_go_into_the_outermost_steps),
        cmocka_unit_test(the_whole_share_is_the_highest_level),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
