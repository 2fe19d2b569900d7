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
    int8_t levels[ROWS], cepstra[ROWS][TT_CEPSTRA];
};

static void make_scene(struct scene *scene)
{
    *scene = (struct scene){.heard.facts = {.rate_hz = RATE, .feature_hop_samples = HOP}};
    memset(scene->levels, ROOM_DB, sizeof scene->levels);
    memset(scene->levels, -40, START + 1);
    memset(scene->levels + END, -40, ROWS - END);
    scene->heard.levels = scene->levels;
    scene->heard.cepstra = scene->cepstra[0];
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

static void a_word_goes_on_where_three_rows_together_stand_out_of_a_steady_room(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    raise_rows(&scene, START + 1, START + 6, 1);
    assert_int_equal(beyond_ms(&scene), 40); /* the last two of them by two thirds, and by one */
    raise_rows(&scene, END - 3, END, 1);
    assert_int_equal(beyond_ms(&scene), 60);
    raise_rows(&scene, START + 1, START + 2, 0);
    raise_rows(&scene, START + 3, START + 6, 0); /* one row by one decibel may be the room's */
    assert_int_equal(beyond_ms(&scene), 20);
}

static void a_weak_sound_of_another_colour_is_a_words_as_well(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    for (int row = START + 1; row < START + 6; row++)
        scene.cepstra[row][2] = 9;
    assert_int_equal(beyond_ms(&scene), 40);
    for (int row = END - 5; row < END; row++)
        scene.cepstra[row][7] = -9;
    assert_int_equal(beyond_ms(&scene), 80);
}

static void what_the_middle_of_the_pause_does_as_well_is_the_rooms(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    for (int row = START + 36; row < END - 36; row += 8)
        for (int k = 0; k < 4; k++)
            scene.cepstra[row + k][2] = 9;
    for (int value = 12; value <= 13; value++) { /* four deviations come to 12.2 */
        for (int row = START + 1; row < START + 6; row++)
            scene.cepstra[row][2] = (int8_t)value;
        assert_int_equal(beyond_ms(&scene), value == 12 ? 0 : 30);
    }
}

static void one_row_is_bridged_but_two_end_a_word(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    raise_rows(&scene, START + 4, START + 5, 4); /* seen from two rows before it on */
    assert_int_equal(beyond_ms(&scene), 40);
    raise_rows(&scene, START + 4, START + 5, 0);
    raise_rows(&scene, START + 5, START + 6, 4);
    assert_int_equal(beyond_ms(&scene), 0);
}

static void no_word_goes_on_for_more_than_a_tenth_of_a_second(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    raise_rows(&scene, START + 1, START + 25, 6); /* the middle begins at 33 */
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
    raise_rows(&scene, START + 1, START + 3, 6);
    assert_int_equal((int)tt_pause_edges_ms(&scene.heard, 10.0 * START, 10.0 * START + 170), 0);
    scene.heard.feature_count = 0;
    assert_int_equal(beyond_ms(&scene), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_pause_between_clear_edges_is_as_long_as_it_is),
        cmocka_unit_test(a_word_goes_on_where_three_rows_together_stand_out_of_a_steady_room),
        cmocka_unit_test(a_weak_sound_of_another_colour_is_a_words_as_well),
        cmocka_unit_test(what_the_middle_of_the_pause_does_as_well_is_the_rooms),
        cmocka_unit_test(one_row_is_bridged_but_two_end_a_word),
        cmocka_unit_test(no_word_goes_on_for_more_than_a_tenth_of_a_second),
        cmocka_unit_test(in_a_restless_room_a_short_pause_or_one_not_heard_nothing_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
