/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "sheet/cut_place.h"

/* A row is 10 ms here. Lines in rows 20 to 100 and 300 to 380, a misread between them in rows 150 to 240; rows 140 to
 * 280 are cut, so that 10 rows and more lie between the joins and what is said. */
enum { RATE = 48000, HOP = RATE / 100, ROWS = 400, ROOM_DB = -70, RUSTLE_DB = -50 };
#define AT(row) ((int64_t)(row)*HOP)
static const struct part cut = {AT(140), AT(280)};

struct scene {
    struct tt_heard heard;
    struct tt_run runs[3];
    int8_t levels[ROWS], cepstra[ROWS][TT_CEPSTRA];
    struct cut_room room;
};

static struct tt_run run_of(int from_row, int to_row)
{
    return (struct tt_run){.start_sample = AT(from_row),
                           .end_sample = AT(to_row),
                           .loud_start_sample = AT(from_row),
                           .loud_end_sample = AT(to_row),
                           .over_floor_db = 30};
}

static void make_scene(struct scene *scene)
{
    *scene = (struct scene){.heard.facts = {.rate_hz = RATE, .feature_hop_samples = HOP},
                            .runs = {run_of(20, 100), run_of(150, 240), run_of(300, 380)}};
    memset(scene->levels, ROOM_DB, sizeof scene->levels);
    scene->heard.levels = scene->levels;
    scene->heard.cepstra = scene->cepstra[0];
    scene->heard.feature_count = ROWS;
    scene->room = (struct cut_room){.times = {RATE, AT(ROWS), scene->runs, 3}, .between = {0, AT(ROWS)}};
}

static void rustle(struct scene *scene, int from_row, int to_row)
{
    memset(scene->levels + from_row, RUSTLE_DB, (size_t)(to_row - from_row));
}

/* By how many rows the cut moves. */
static int rows_moved(const struct scene *scene)
{
    struct part gone = cut;
    cut_place(&scene->room, &scene->heard, &gone);
    assert_true(gone.end - gone.start == cut.end - cut.start);
    assert_int_equal((gone.start - cut.start) % HOP, 0);
    return (int)((gone.start - cut.start) / HOP);
}

static void a_cut_in_a_room_that_is_alike_stays(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    assert_int_equal(rows_moved(&scene), 0);
}

static void a_cut_takes_of_the_pause_in_front_what_it_leaves_of_the_one_behind(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    rustle(&scene, 275, 290); /* around its end */
    assert_int_equal(rows_moved(&scene), -7);
}

static void the_words_that_stay_keep_their_guards(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    rustle(&scene, 275, 290);
    scene.runs[0] = run_of(20, 120); /* 130 ms are its guard: the seventh row is just free */
    assert_int_equal(rows_moved(&scene), -7);
    scene.runs[0] = run_of(20, 121);
    assert_true(rows_moved(&scene) > -7);
    scene.runs[0] = run_of(20, 100);
    scene.runs[0].over_floor_db = 20; /* a weak end: 200 ms */
    scene.runs[0].end_sample = AT(114);
    assert_true(rows_moved(&scene) > -7);
    /* Towards the next line. */
    make_scene(&scene);
    scene.runs[1] = run_of(170, 240);
    scene.runs[2] = run_of(305, 380); /* 200 ms */
    rustle(&scene, 265, 285);
    assert_int_equal(rows_moved(&scene), 5);
    scene.runs[2] = run_of(304, 380);
    assert_true(rows_moved(&scene) < 5);
}

static void nothing_of_the_misread_comes_back(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    rustle(&scene, 275, 290);
    scene.runs[1] = run_of(150, 266);
    assert_int_equal(rows_moved(&scene), -7);
    scene.runs[1] = run_of(150, 267);
    assert_true(rows_moved(&scene) > -7);
    make_scene(&scene);
    rustle(&scene, 265, 285);
    scene.runs[2] = run_of(320, 380);
    scene.runs[1] = run_of(152, 240);
    assert_int_equal(rows_moved(&scene), 5);
    scene.runs[1] = run_of(151, 240);
    assert_true(rows_moved(&scene) < 5);
}

static void in_the_midst_of_words_a_cut_stays_but_rustle_before_them_is_none(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    rustle(&scene, 275, 290);
    scene.runs[1] = run_of(130, 240);
    assert_int_equal(rows_moved(&scene), 0);
    scene.runs[1].loud_start_sample = AT(150);
    assert_int_equal(rows_moved(&scene), -7);
    scene.runs[2] = run_of(270, 380);
    assert_int_equal(rows_moved(&scene), 0);
}

static void what_a_cut_would_leave_of_a_run_may_go_where_no_word_is_so_short(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    rustle(&scene, 135, 145); /* around its start */
    scene.runs[1] = run_of(131, 240);
    assert_int_equal(rows_moved(&scene), -6);
    scene.runs[1] = run_of(130, 240);
    assert_int_equal(rows_moved(&scene), 0);
}

static void no_sound_and_no_other_join_is_passed(void **state)
{
    (void)state;
    static const struct pause_sound sounds[] = {{{AT(125), AT(135)}, true, false}, {{AT(255), AT(275)}, false, false}};
    for (int i = 0; i < 2; i++) {
        struct scene scene;
        make_scene(&scene);
        rustle(&scene, 275, 290);
        scene.room.sounds = &sounds[i];
        scene.room.sound_count = 1;
        assert_in_range(rows_moved(&scene) + 5, 0, 5);
    }
    struct scene scene;
    make_scene(&scene);
    rustle(&scene, 275, 290);
    scene.room.between.start = AT(130); /* and 30 ms */
    assert_int_equal(rows_moved(&scene), -7);
    scene.room.between.start = AT(131);
    assert_true(rows_moved(&scene) > -7);
}

static void a_cut_without_words_and_one_at_the_edge_of_the_take_stay(void **state)
{
    (void)state;
    struct scene scene;
    make_scene(&scene);
    rustle(&scene, 275, 290);
    scene.runs[1] = scene.runs[2];
    scene.room.times.run_count = 2; /* nobody speaks in it */
    assert_int_equal(rows_moved(&scene), 0);
    make_scene(&scene);
    rustle(&scene, 275, 290);
    scene.room.times.run_count = 2; /* nothing follows */
    assert_int_equal(rows_moved(&scene), 0);
    scene.room.times = (struct take_times){RATE, AT(ROWS), scene.runs + 1, 2}; /* nothing was before */
    assert_int_equal(rows_moved(&scene), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_cut_in_a_room_that_is_alike_stays),
        cmocka_unit_test(a_cut_takes_of_the_pause_in_front_what_it_leaves_of_the_one_behind),
        cmocka_unit_test(the_words_that_stay_keep_their_guards),
        cmocka_unit_test(nothing_of_the_misread_comes_back),
        cmocka_unit_test(in_the_midst_of_words_a_cut_stays_but_rustle_before_them_is_none),
        cmocka_unit_test(what_a_cut_would_leave_of_a_run_may_go_where_no_word_is_so_short),
        cmocka_unit_test(no_sound_and_no_other_join_is_passed),
        cmocka_unit_test(a_cut_without_words_and_one_at_the_edge_of_the_take_stay),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
