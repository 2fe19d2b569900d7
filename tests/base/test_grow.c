/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/grow.h"

#include <stdint.h>
#include <stdlib.h>

#include "support.h"

static void items_stay_while_their_array_grows(void **state)
{
    (void)state;
    enum { COUNT = 1000 };
    uint32_t *items = NULL;
    size_t capacity = 0;
    struct tt_error error = {0};
    for (size_t i = 0; i < COUNT; i++) {
        uint32_t *more = tt_grow(items, i, &capacity, sizeof *items, &error);
        assert_non_null(more);
        assert_true(capacity > i);
        items = more;
        items[i] = (uint32_t)(i * 2654435761u);
    }
    for (size_t i = 0; i < COUNT; i++)
        assert_int_equal(items[i], (uint32_t)(i * 2654435761u));
    free(items);
}

static void where_there_is_room_nothing_moves(void **state)
{
    (void)state;
    int items[4];
    size_t capacity = 4;
    struct tt_error error = {0};
    assert_ptr_equal(tt_grow(items, 3, &capacity, sizeof *items, &error), items);
    assert_int_equal(capacity, 4);
}

static void what_no_memory_holds_is_an_error_and_leaves_the_array(void **state)
{
    (void)state;
    struct tt_error error = {0};
    size_t capacity = SIZE_MAX / 8;
    char *items = malloc(1);
    assert_non_null(items);
    assert_null(tt_grow(items, capacity, &capacity, 8, &error));
    assert_int_equal(capacity, SIZE_MAX / 8);
    assert_int_equal(error.kind, TT_ERROR_MEMORY);
    capacity = SIZE_MAX / 2 + 1; /* twice as much is nothing */
    assert_null(tt_grow(items, capacity, &capacity, 1, &error));
    free(items);
}

static void a_list_without_a_capacity_grows_by_one_and_keeps_what_it_has(void **state)
{
    (void)state;
    enum { COUNT = 100 };
    struct tt_error error = {0};
    uint32_t *items = NULL;
    for (size_t i = 0; i < COUNT; i++) {
        uint32_t *more = tt_grow_by_one(items, i, sizeof *items, &error);
        assert_non_null(more);
        items = more;
        items[i] = (uint32_t)(i * 2654435761u);
    }
    for (size_t i = 0; i < COUNT; i++)
        assert_int_equal(items[i], (uint32_t)(i * 2654435761u));
    assert_null(tt_grow_by_one(items, SIZE_MAX / sizeof *items, sizeof *items, &error)); /* one more overflows */
    assert_int_equal(error.kind, TT_ERROR_MEMORY);
    free(items);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(items_stay_while_their_array_grows),
        cmocka_unit_test(where_there_is_room_nothing_moves),
        cmocka_unit_test(what_no_memory_holds_is_an_error_and_leaves_the_array),
        cmocka_unit_test(a_list_without_a_capacity_grows_by_one_and_keeps_what_it_has),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
