/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "sheet/pause_place.h"

/* A row is 10 ms here; the pause is rows 100 to 300, and its middle goes. */
enum { RATE = 48000, HOP = RATE / 100, ROWS = 400, ROOM_DB = -70, RUSTLE_DB = -50 };
static const struct part middle = {(int64_t)150 * HOP, (int64_t)250 * HOP};

struct room {
    struct tt_heard heard;
    int8_t levels[ROWS], cepstra[ROWS][TT_CEPSTRA];
};

static void make_room(struct room *room)
{
    *room = (struct room){
        .heard.facts = {.rate_hz = RATE, .feature_hop_samples = HOP, .speech_dbfs = -20, .floor_dbfs = -60}};
    memset(room->levels, ROOM_DB, sizeof room->levels);
    room->heard.levels = room->levels;
    room->heard.cepstra = room->cepstra[0];
    room->heard.feature_count = ROWS;
}

static void rustle(struct room *room, int from_row, int to_row)
{
    memset(room->levels + from_row, RUSTLE_DB, (size_t)(to_row - from_row));
}

static struct pause plain_pause(void)
{
    return (struct pause){.part = {(int64_t)100 * HOP, (int64_t)300 * HOP},
                          .margin_before_samples = (int64_t)12 * HOP,
                          .margin_after_samples = (int64_t)12 * HOP};
}

/* By how many rows the middle moves. */
static int rows_moved(const struct room *room, const struct pause *pause)
{
    struct part gone = middle;
    pause_place(pause, &room->heard, &gone);
    assert_true(gone.end - gone.start == middle.end - middle.start);
    assert_int_equal((gone.start - middle.start) % HOP, 0);
    return (int)((gone.start - middle.start) / HOP);
}

static void where_the_room_is_alike_the_middle_goes(void **state)
{
    (void)state;
    struct room room;
    struct pause pause = plain_pause();
    make_room(&room);
    assert_int_equal(rows_moved(&room, &pause), 0);
}

static void a_join_keeps_off_a_stroke_on_the_nearer_side(void **state)
{
    (void)state;
    struct room room;
    struct pause pause = plain_pause();
    make_room(&room);
    rustle(&room, 145, 152); /* around where the middle begins */
    assert_int_equal(rows_moved(&room, &pause), 3);
    make_room(&room);
    rustle(&room, 249, 256);
    assert_int_equal(rows_moved(&room, &pause), -3);
}

static void colour_counts_as_level_does(void **state)
{
    (void)state;
    struct room room;
    struct pause pause = plain_pause();
    make_room(&room);
    for (int row = 145; row < 152; row++)
        room.cepstra[row][2] = 60;
    assert_int_equal(rows_moved(&room, &pause), 3);
}

static void a_little_alike_is_not_worth_a_long_way(void **state)
{
    (void)state;
    for (int farther = 0; farther < 2; farther++) {
        struct room room;
        struct pause pause = plain_pause();
        make_room(&room);
        for (int row = 120; row < (farther ? 161 : 154); row++)
            room.cepstra[row][2] = 3; /* 0.4 dB, the way of 80 ms */
        assert_int_equal(rows_moved(&room, &pause), farther ? 0 : 5);
    }
}

static void it_moves_no_farther_than_a_fifth_of_a_second(void **state)
{
    (void)state;
    struct room room;
    struct pause pause = plain_pause();
    make_room(&room);
    rustle(&room, 120, 171);
    assert_int_equal(rows_moved(&room, &pause), 0);
    make_room(&room);
    rustle(&room, 120, 168);
    assert_int_equal(rows_moved(&room, &pause), 19);
}

/* A voice 40 dB over its room, and one 20 dB over it, whose ends sink under the noise. */
static void it_comes_no_nearer_to_the_words_than_weak_edges_need(void **state)
{
    (void)state;
    for (int is_noisy = 0; is_noisy < 2; is_noisy++) {
        struct room room;
        struct pause pause = plain_pause();
        make_room(&room);
        room.heard.facts.floor_dbfs = is_noisy ? -40 : -60;
        rustle(&room, 120, 152);
        pause.part.end = (int64_t)264 * HOP; /* 120 ms in front of a word */
        assert_int_equal(rows_moved(&room, &pause), 2);
        pause.part.end = (int64_t)265 * HOP;
        assert_int_equal(rows_moved(&room, &pause), 3);
        pause.margin_after_samples = (int64_t)13 * HOP; /* or the margin */
        assert_int_equal(rows_moved(&room, &pause), 2);
        make_room(&room);
        room.heard.facts.floor_dbfs = is_noisy ? -40 : -60;
        rustle(&room, 249, 290);
        pause = plain_pause();
        pause.part.start = (int64_t)(is_noisy ? 128 : 135) * HOP; /* 200 or 130 ms behind one */
        assert_int_equal(rows_moved(&room, &pause), -2);
        pause.part.start = (int64_t)145 * HOP; /* what is nearer already stays so */
        assert_int_equal(rows_moved(&room, &pause), 0);
    }
    /* 10 dB over it: 160 ms in front of a word. */
    struct room room;
    struct pause pause = plain_pause();
    make_room(&room);
    room.heard.facts.floor_dbfs = -30;
    rustle(&room, 120, 152);
    pause.part.end = (int64_t)268 * HOP;
    assert_int_equal(rows_moved(&room, &pause), 2);
}

static void it_passes_no_sound(void **state)
{
    (void)state;
    struct room room;
    struct pause pause = plain_pause();
    /* One before, one inside, one behind what goes; each leaves two rows on one side, where three would be better. */
    static const struct pause_sound sounds[] = {{{(int64_t)140 * HOP, (int64_t)148 * HOP}, true, false},
                                                {{(int64_t)152 * HOP, (int64_t)248 * HOP}, false, false},
                                                {{(int64_t)252 * HOP, (int64_t)260 * HOP}, false, false}};
    for (int i = 0; i < 3; i++) {
        pause.sounds = &sounds[i];
        pause.sound_count = 1;
        make_room(&room);
        rustle(&room, 120, 152);
        assert_int_equal(rows_moved(&room, &pause), i == 0 ? 3 : 2);
        make_room(&room);
        rustle(&room, 249, 280);
        assert_int_equal(rows_moved(&room, &pause), i == 2 ? -3 : -2);
    }
}

static void a_breath_keeps_its_faint_start(void **state)
{
    (void)state;
    struct room room;
    struct pause pause = plain_pause();
    struct pause_sound sound = {{(int64_t)253 * HOP, (int64_t)270 * HOP}, true, false};
    pause.sounds = &sound;
    pause.sound_count = 1;
    make_room(&room);
    assert_int_equal(rows_moved(&room, &pause), -7); /* 100 ms */
    pause.part.start = (int64_t)134 * HOP;           /* as far as the word before allows */
    assert_int_equal(rows_moved(&room, &pause), -3);
    rustle(&room, 245, 256); /* no stroke is worth more */
    assert_int_equal(rows_moved(&room, &pause), -3);
    make_room(&room);
    pause.part.start = (int64_t)145 * HOP;
    assert_int_equal(rows_moved(&room, &pause), 0);
    pause = plain_pause();
    sound.is_breath = false;
    pause.sounds = &sound;
    pause.sound_count = 1;
    assert_int_equal(rows_moved(&room, &pause), 0);
    /* Nor is it worth a stroke, and nor is it moved into afterwards. */
    sound.is_breath = true;
    make_room(&room);
    rustle(&room, 120, 148);
    assert_int_equal(rows_moved(&room, &pause), 0);
    make_room(&room);
    for (int row = 120; row < 154; row++)
        room.cepstra[row][2] = 3; /* 0.4 dB */
    sound.part = (struct part){(int64_t)264 * HOP, (int64_t)280 * HOP};
    assert_int_equal(rows_moved(&room, &pause), 4);
    sound.part.start = (int64_t)265 * HOP;
    assert_int_equal(rows_moved(&room, &pause), 5);
}

static void edges_of_the_take_cuts_and_unheard_rooms_stay(void **state)
{
    (void)state;
    struct room room;
    struct pause pause = plain_pause();
    static const struct part cut = {(int64_t)180 * HOP, (int64_t)190 * HOP};
    make_room(&room);
    rustle(&room, 145, 152);
    pause.is_head = true;
    assert_int_equal(rows_moved(&room, &pause), 0);
    pause.is_head = false;
    pause.is_tail = true;
    assert_int_equal(rows_moved(&room, &pause), 0);
    pause.is_tail = false;
    pause.cuts = &cut;
    pause.cut_count = 1;
    assert_int_equal(rows_moved(&room, &pause), 0);
    pause.cut_count = 0;
    room.heard.feature_count = 0;
    assert_int_equal(rows_moved(&room, &pause), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(where_the_room_is_alike_the_middle_goes),
        cmocka_unit_test(a_join_keeps_off_a_stroke_on_the_nearer_side),
        cmocka_unit_test(colour_counts_as_level_does),
        cmocka_unit_test(a_little_alike_is_not_worth_a_long_way),
        cmocka_unit_test(it_moves_no_farther_than_a_fifth_of_a_second),
        cmocka_unit_test(it_comes_no_nearer_to_the_words_than_weak_edges_need),
        cmocka_unit_test(it_passes_no_sound),
        cmocka_unit_test(a_breath_keeps_its_faint_start),
        cmocka_unit_test(edges_of_the_take_cuts_and_unheard_rooms_stay),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
