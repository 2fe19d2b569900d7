/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "stages/pause_edges.h"

/* A row is 10 ms here; loud edges lie at rows 100 and 200. */
enum { RATE = 48000, HOP = RATE / 100, ROWS = 400, ROOM_DB = -70, START = 100, END = 200 };

struct scene {
    struct tt_heard heard;
    int8_t levels[ROWS];
};

static void make_scene(struct scene *scene)
{
    *scene = (struct scene){.heard.facts = {.rate_hz = RATE, .feature_hop_samples = HOP}};
    memset(scene->levels, ROOM_DB, sizeof scene->levels);
    memset(scene->levels, -40, START + 1);
    memset(scene->levels + END, -40, ROWS - END);
    scene->heard.levels = scene->levels;
    scene->heard.feature_count = ROWS;
}

static void raise_rows(struct scene *scene, int from_row, int to_row, int by_db)
{
    memset(scene->levels + from_row, ROOM_DB + by_db, (size_t)(to_row - from_row));
}

static int beyond_ms(const struct scene *scene)
{
    return (int)tt_pause_edges_ms(&scene->heard, 10.0 * START, 10.0 * END);
}

static void a_pause_between_clear_edges_is_as_long_as_it_is(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    assert_int_equal(beyond_ms(&scene), 0);
}

static void a_word_goes_on_where_rows_stand_two_decibels_out_of_a_steady_room(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    raise_rows(&scene, START + 1, START + 6, 2);
    assert_int_equal(beyond_ms(&scene), 50);
    raise_rows(&scene, END - 3, END, 3);
    assert_int_equal(beyond_ms(&scene), 80);
    raise_rows(&scene, START + 1, START + 6, 1); /* the room's own swaying */
    assert_int_equal(beyond_ms(&scene), 30);
}

static void one_weak_row_is_bridged_but_two_end_a_word(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    raise_rows(&scene, START + 2, START + 5, 4);
    assert_int_equal(beyond_ms(&scene), 40);
    raise_rows(&scene, START + 2, START + 3, 0);
    assert_int_equal(beyond_ms(&scene), 0);
}

static void no_word_goes_on_for_more_than_a_tenth_of_a_second(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    raise_rows(&scene, START + 1, START + 25, 6);
    assert_int_equal(beyond_ms(&scene), 100);
}

static void in_a_restless_room_a_short_pause_or_one_not_heard_nothing_is_told(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    raise_rows(&scene, START + 1, START + 6, 6);
    for (int row = START + 40; row < END - 40; row += 5)
        scene.levels[row] = ROOM_DB + 2; /* a row in five of its middle */
    assert_int_equal(beyond_ms(&scene), 0);
    make_scene(&scene);
    raise_rows(&scene, START + 1, START + 6, 6);
    assert_int_equal((int)tt_pause_edges_ms(&scene.heard, 10.0 * START, 10.0 * START + 110), 0);
    scene.heard.feature_count = 0;
    assert_int_equal(beyond_ms(&scene), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_pause_between_clear_edges_is_as_long_as_it_is),
        cmocka_unit_test(a_word_goes_on_where_rows_stand_two_decibels_out_of_a_steady_room),
        cmocka_unit_test(one_weak_row_is_bridged_but_two_end_a_word),
        cmocka_unit_test(no_word_goes_on_for_more_than_a_tenth_of_a_second),
        cmocka_unit_test(in_a_restless_room_a_short_pause_or_one_not_heard_nothing_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
