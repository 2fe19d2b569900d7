/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "hive_session.h"

#include "sheet/landing.h"
#include "report/removed.h"

static void assert_lands(const struct tt_row *row, const struct tt_time_map *map, bool is_in, int64_t start,
                         int64_t end)
{
    struct tt_landing landing = tt_landing_of_row(row, map);
    assert_int_equal(landing.is_in, is_in);
    assert_int_equal(landing.start, start);
    assert_int_equal(landing.end, end);
}

static void rows_land_where_their_sound_is_heard(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    const struct tt_time_map *map = &hive.maps[0];
    assert_lands(&hive.rows[2], map, true, 96000 + 168000, 283200 + 19200); /* the pause: both ends stayed */
    assert_lands(&hive.rows[3], map, true, 302400, 316800);                 /* the breath behind it */
    assert_lands(&hive.rows[4], map, true, 350400, 350400);                 /* the label */
    assert_lands(&hive.rows[5], map, true, 398400, 590400); /* the opened gap: four seconds of room tone */
    assert_lands(&hive.rows[6], map, true, 638400, 686400); /* the question */
}

static void what_is_cut_lands_nowhere(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    const struct tt_time_map *map = &hive.maps[0];
    assert_lands(&hive.rows[0], map, false, 96000, 96000);
    assert_lands(&hive.rows[1], map, false, 96000, 96000);
    assert_lands(&hive.rows[7], map, false, 96000, 96000); /* a breath in the misread */
    hive.stretches[0].source_end += 4800;                  /* even where a person's row took some of it back */
    assert_false(tt_landing_of_row(&hive.rows[0], map).is_in);
    hive.stretches[0].source_end -= 4800;
    /* A join may lie a few milliseconds beside the row's times: that rest is not the row. */
    hive.stretches[0].source_end += 200;
    hive.rows[0].action = TT_DO_KEEP;
    assert_false(tt_landing_of_row(&hive.rows[0], map).is_in);
    hive.stretches[0].source_end += 48000;
    assert_true(tt_landing_of_row(&hive.rows[0], map).is_in);
    struct tt_time_map nothing = {.rate_hz = 48000};
    assert_lands(&hive.rows[6], &nothing, false, 0, 0);
    assert_lands(&hive.rows[5], &nothing, false, 0, 0);
}

static void a_label_in_a_cut_stands_at_the_join(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.rows[4].start_ms = hive.rows[4].end_ms = 3000;
    assert_lands(&hive.rows[4], &hive.maps[0], false, 96000, 96000);
    hive.rows[4].start_ms = hive.rows[4].end_ms = 20000; /* the take's very end */
    assert_lands(&hive.rows[4], &hive.maps[0], true, 926400, 926400);
}

static void a_gap_in_front_of_the_first_word_is_found(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_time_map map = {
        .rate_hz = 44100, .stretches = &hive.whole, .count = 1, .lead_samples = 88200, .out_samples = 529200};
    hive.whole.out_start = 88200;
    struct tt_row gap = {.start_ms = 100, .end_ms = 100, .kind = TT_ROW_GAP, .action = TT_DO_OPEN, .amount = 2};
    assert_lands(&gap, &map, true, 0, 88200);
    gap.amount = 3; /* no room tone is long enough: where the point is */
    assert_lands(&gap, &map, true, 88200 + 4410, 88200 + 4410);
}

static void of_several_gaps_a_row_opened_the_nearest_that_is_long_enough(void **state)
{
    (void)state;
    struct tt_stretch stretches[] = {
        {.source_end = 480000, .fill_samples = 96000},
        {.source_start = 480000, .source_end = 720000, .out_start = 576000, .fill_samples = 96000},
        {.source_start = 720000, .source_end = 960000, .out_start = 912000, .fill_samples = 48000}};
    const struct tt_time_map map = {.rate_hz = 48000, .stretches = stretches, .count = 3, .out_samples = 1200000};
    struct tt_row gap = {.kind = TT_ROW_GAP, .action = TT_DO_OPEN, .amount = 2};
    gap.start_ms = gap.end_ms = 9000;
    assert_lands(&gap, &map, true, 480000, 576000);
    gap.start_ms = gap.end_ms = 14000;
    assert_lands(&gap, &map, true, 816000, 912000);
    gap.start_ms = gap.end_ms = 19900; /* the last one is too short */
    assert_lands(&gap, &map, true, 816000, 912000);
    gap.amount = 1;
    assert_lands(&gap, &map, true, 1152000, 1200000);
}

static void a_row_no_longer_than_a_join_is_in_when_half_of_it_is(void **state)
{
    (void)state;
    struct tt_stretch stretch = {.source_end = 480000 + 288};
    const struct tt_time_map map = {.rate_hz = 48000, .stretches = &stretch, .count = 1, .out_samples = 480288};
    struct tt_row click = {.start_ms = 10000, .end_ms = 10010, .kind = TT_ROW_CLICK, .action = TT_DO_SOFTEN};
    assert_lands(&click, &map, true, 480000, 480288); /* 6 ms of 10 */
    stretch.source_end -= 96;
    assert_lands(&click, &map, false, 480000, 480000); /* 4 ms */
}

static void removed_seconds_count_once(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_removed removed;
    struct tt_error err = {0};
    assert_true(tt_removed_measure(&hive.sheets[0], &hive.maps[0], 960000, &removed, &err));
    assert_float_equal(removed.seconds, 3 + 0.5 + 1.2, 1e-9);
    assert_float_equal(removed.by_kind[TT_ROW_MISREAD].seconds, 3, 1e-9);
    assert_float_equal(removed.by_kind[TT_ROW_TALK].seconds, 0.5, 1e-9);
    assert_float_equal(removed.by_kind[TT_ROW_PAUSE].seconds, 1.2, 1e-9);
    assert_int_equal(removed.by_kind[TT_ROW_MISREAD].count, 1); /* the question takes nothing out */
    assert_int_equal(removed.by_kind[TT_ROW_BREATH].count, 0);
    /* A pause in the middle of the misread counts as the misread. */
    hive.rows[7] =
        (struct tt_row){.start_ms = 3000, .end_ms = 4500, .kind = TT_ROW_PAUSE, .action = TT_DO_SHORTEN, .amount = 0.5};
    assert_true(tt_removed_measure(&hive.sheets[0], &hive.maps[0], 960000, &removed, &err));
    assert_float_equal(removed.by_kind[TT_ROW_MISREAD].seconds, 3, 1e-9);
    assert_float_equal(removed.by_kind[TT_ROW_PAUSE].seconds, 1.2, 1e-9);
    assert_int_equal(removed.by_kind[TT_ROW_PAUSE].count, 2);
}

static void a_choice_takes_out_the_other_reading(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_removed removed;
    struct tt_error err = {0};
    hive.rows[0].action =
        TT_DO_CHOOSE; /* the reading at 5.5 to 9.0 s would go; the map still holds 0 to 2 and 5.5 to 9.4 s */
    hive.stretches[0].source_end = 240000;
    hive.stretches[1].source_start = 432000;
    assert_true(tt_removed_measure(&hive.sheets[0], &hive.maps[0], 960000, &removed, &err));
    assert_float_equal(removed.by_kind[TT_ROW_MISREAD].seconds, 3.5, 1e-9);
    assert_true(tt_removed_measure(&hive.sheets[3], &hive.maps[3], 96000, &removed, &err));
    assert_float_equal(removed.seconds, 2, 1e-9);
    assert_float_equal(removed.by_kind[TT_ROW_OTHER].seconds, 2, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_land_where_their_sound_is_heard),
        cmocka_unit_test(what_is_cut_lands_nowhere),
        cmocka_unit_test(a_label_in_a_cut_stands_at_the_join),
        cmocka_unit_test(a_gap_in_front_of_the_first_word_is_found),
        cmocka_unit_test(of_several_gaps_a_row_opened_the_nearest_that_is_long_enough),
        cmocka_unit_test(a_row_no_longer_than_a_join_is_in_when_half_of_it_is),
        cmocka_unit_test(removed_seconds_count_once),
        cmocka_unit_test(a_choice_takes_out_the_other_reading),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
