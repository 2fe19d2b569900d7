/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Pauses: how long they stay, and what of them must not be touched. The curve's values are those of the formula that
 * the settings' documentation gives, worked out by hand: 600 + 300 (1 - e^-1) = 789.64, 600 + 300 (1 - e^-(14/3)) =
 * 897.18. */
#include "stages/pauses.h"

#include "stages/heard_by_hand.h"

static void the_curve_has_the_documented_values(void **state)
{
    (void)state;
    assert_true(tt_pause_curve_ms(0, 600, 900) == 0);
    assert_true(tt_pause_curve_ms(600, 600, 900) == 600);
    assert_true(fabs(tt_pause_curve_ms(900, 600, 900) - 789.636) < 0.001);
    assert_true(fabs(tt_pause_curve_ms(2000, 600, 900) - 897.179) < 0.001);
    assert_true(tt_pause_curve_ms(1e6, 600, 900) == 900);
    assert_true(tt_pause_curve_ms(5000, 600, 600) == 600);
}

static void of_two_pauses_the_longer_stays_the_longer(void **state)
{
    (void)state;
    for (double pause = 600; pause < 4000; pause += 10)
        assert_true(tt_pause_curve_ms(pause + 10, 600, 900) > tt_pause_curve_ms(pause, 600, 900));
}

/* Two lines with a pause between them, and 250 ms around. */
static void two_lines(struct hand_take *take, double pause_ms)
{
    hand_begin(take, 250 + 2000 + pause_ms + 2000 + 250);
    hand_line(take, 250, 2250);
    hand_line(take, 2250 + pause_ms, 4250 + pause_ms);
}

static void a_long_pause_is_shortened_by_the_curve_and_a_short_one_is_left_alone(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    two_lines(&take, 2000);
    hand_decide(&take, &tt_stage_pauses, &settings);
    assert_int_equal(take.sheet.count, 1);
    const struct tt_row *row = hand_nth(&take, TT_ROW_PAUSE, 0);
    assert_non_null(row);
    assert_int_equal(row->action, TT_DO_SHORTEN);
    assert_int_equal(row->start_ms, 2250);
    assert_int_equal(row->end_ms, 4250);
    assert_true(fabs(row->amount - 0.897) < 1e-9);
    tt_sheet_free(&take.sheet);

    two_lines(&take, 590);
    hand_decide(&take, &tt_stage_pauses, &settings);
    assert_int_equal(take.sheet.count, 0);
    tt_sheet_free(&take.sheet);
}

/* The first line goes on for 50 ms under its loud edge: the pause is one of 1950 ms, of which 600 + 300 (1 - e^-4.5) =
 * 896.67 stay. */
static void what_a_word_goes_on_for_is_no_pause_but_beside_a_cut_it_is_not_known(void **state)
{
    (void)state;
    for (int is_cut = 0; is_cut < 2; is_cut++) {
        struct tt_settings settings = hand_settings();
        struct hand_take take;
        int8_t levels[650], cepstra[650 * TT_CEPSTRA] = {0};
        two_lines(&take, 2000);
        memset(levels, -70, sizeof levels);
        memset(levels, -40, 226);
        memset(levels + 226, -65, 5);
        memset(levels + 425, -40, 225);
        take.heard.levels = levels;
        take.heard.cepstra = cepstra;
        take.heard.feature_count = 650;
        take.heard.facts.feature_hop_samples = HAND_RATE_HZ / 100;
        if (is_cut)
            hand_row(&take, 3000, 3100, TT_ROW_TALK, TT_DO_CUT);
        hand_decide(&take, &tt_stage_pauses, &settings);
        const struct tt_row *row = hand_nth(&take, TT_ROW_PAUSE, 0);
        assert_non_null(row);
        /* Else of 1900 ms in two parts 1003.9 go, of the longer one as much as its guards let go: 150 ms stay. */
        assert_true(fabs(row->amount - (is_cut ? 0.150 : 0.947)) < 1e-9);
        tt_sheet_free(&take.sheet);
    }
}

static void the_guards_at_speech_stay_however_short_a_pause_is_wished(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.pauses.stay_ms = settings.pauses.longest_ms = 50;
    static const struct {
        double over_floor_db, least_s;
    } cases[] = {{35, 0.250}, {20, 0.320}, {10, 0.460}}; /* the guards that pauses.c states */
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct hand_take take;
        two_lines(&take, 2000);
        take.runs[0].over_floor_db = take.runs[1].over_floor_db = (float)cases[i].over_floor_db;
        hand_decide(&take, &tt_stage_pauses, &settings);
        bool is_found = false;
        for (size_t r = 0; r < take.sheet.count; r++)
            if (take.sheet.rows[r].start_ms == 2250) {
                is_found = true;
                assert_true(fabs(take.sheet.rows[r].amount - cases[i].least_s) < 1e-9);
            }
        assert_true(is_found);
        tt_sheet_free(&take.sheet);
    }
}

static void head_and_tail_keep_the_edge_that_was_asked_for(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.pauses.edge_ms = 400;
    struct hand_take take;
    hand_begin(&take, 10000);
    hand_line(&take, 3000, 7000);
    hand_decide(&take, &tt_stage_pauses, &settings);
    hand_seal(&take);
    assert_int_equal(take.sheet.count, 2);
    assert_int_equal(take.sheet.rows[0].start_ms, 0);
    assert_int_equal(take.sheet.rows[0].end_ms, 3000);
    assert_true(fabs(take.sheet.rows[0].amount - 0.4) < 1e-9);
    assert_int_equal(take.sheet.rows[1].start_ms, 7000);
    assert_int_equal(take.sheet.rows[1].end_ms, 10000);
    assert_true(fabs(take.sheet.rows[1].amount - 0.4) < 1e-9);
    tt_sheet_free(&take.sheet);
}

static void a_breath_before_the_first_word_stays_with_it(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 8000);
    hand_line(&take, 3000, 7800);
    hand_row(&take, 2600, 2800, TT_ROW_BREATH, TT_DO_SOFTEN);
    hand_decide(&take, &tt_stage_pauses, &settings);
    const struct tt_row *row = hand_nth(&take, TT_ROW_PAUSE, 0);
    assert_non_null(row);
    assert_true(row->amount >= 0.4 && row->amount < 0.5); /* from the breath on, and a little before it */
    tt_sheet_free(&take.sheet);
}

/* 2250 to 4160, and 120 before the next line: all of it is one pause, though the room was heard from 4000 on. */
static void what_leads_faintly_into_a_cut_is_a_part_of_the_pause(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 9250);
    hand_line(&take, 250, 2250);
    hand_line(&take, 4000, 6000)->loud_start_sample = hand_samples(4250);
    hand_row(&take, 4160, 6880, TT_ROW_MISREAD, TT_DO_CUT);
    hand_line(&take, 7000, 9000);
    hand_decide(&take, &tt_stage_pauses, &settings);
    const struct tt_row *row = hand_nth(&take, TT_ROW_PAUSE, 0);
    assert_non_null(row);
    assert_int_equal(row->start_ms, 2250);
    assert_int_equal(row->end_ms, 4160);
    assert_true(fabs(row->amount - (tt_pause_curve_ms(2030, 600, 900) - 120) / 1000) < 1e-3);
    tt_sheet_free(&take.sheet);
}

static void a_pause_of_the_length_that_was_named_is_left_open(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.pauses.keep_from_s = 3;
    struct hand_take take;
    two_lines(&take, 3000);
    hand_decide(&take, &tt_stage_pauses, &settings);
    assert_int_equal(take.sheet.count, 1);
    assert_int_equal(take.sheet.rows[0].kind, TT_ROW_GAP);
    assert_int_equal(take.sheet.rows[0].action, TT_DO_KEEP);
    tt_sheet_free(&take.sheet);
    two_lines(&take, 2990);
    hand_decide(&take, &tt_stage_pauses, &settings);
    assert_int_equal(take.sheet.rows[0].kind, TT_ROW_PAUSE);
    tt_sheet_free(&take.sheet);
}

static void a_take_without_speech_is_left_alone(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 60000);
    hand_decide(&take, &tt_stage_pauses, &settings);
    assert_int_equal(take.sheet.count, 0);
    tt_sheet_free(&take.sheet);
}

static void what_is_left_on_both_sides_of_a_cut_counts_as_one_pause(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 10250);
    hand_line(&take, 250, 2250);
    hand_line(&take, 3250, 5250); /* a misread, cut with 300 ms around it */
    hand_line(&take, 6250, 10000);
    hand_row(&take, 3000, 5500, TT_ROW_MISREAD, TT_DO_CUT);
    hand_decide(&take, &tt_stage_pauses, &settings);
    double stays_ms = 0;
    for (size_t i = 0; i < take.sheet.count; i++)
        if (take.sheet.rows[i].kind == TT_ROW_PAUSE)
            stays_ms +=
                1000 * take.sheet.rows[i].amount - (double)(take.sheet.rows[i].end_ms - take.sheet.rows[i].start_ms);
    stays_ms += 750 + 750; /* what the two pieces had */
    assert_true(fabs(stays_ms - tt_pause_curve_ms(1500, 600, 900)) < 2);
    tt_sheet_free(&take.sheet);
}

static void at_the_edges_of_a_cut_a_little_stays_too(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.pauses.stay_ms = settings.pauses.longest_ms = 50;
    struct hand_take take;
    hand_begin(&take, 10250);
    hand_line(&take, 250, 2250);
    hand_line(&take, 3250, 5250);
    hand_line(&take, 6250, 10000);
    hand_row(&take, 3000, 5500, TT_ROW_MISREAD, TT_DO_CUT);
    hand_decide(&take, &tt_stage_pauses, &settings);
    double stays_s = 0;
    for (size_t i = 0; i < take.sheet.count; i++)
        if (take.sheet.rows[i].kind == TT_ROW_PAUSE && take.sheet.rows[i].start_ms >= 2250 &&
            take.sheet.rows[i].end_ms <= 6250)
            stays_s += take.sheet.rows[i].amount;
    assert_true(fabs(stays_s - (0.130 + 0.030 + 0.030 + 0.120)) < 1e-9); /* the guards that pauses.c states */
    tt_sheet_free(&take.sheet);
}

static void where_all_speech_is_cut_the_rest_goes_with_it(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 6000);
    hand_line(&take, 2000, 4000);
    hand_row(&take, 1900, 4100, TT_ROW_MISREAD, TT_DO_CUT);
    hand_decide(&take, &tt_stage_pauses, &settings);
    hand_seal(&take);
    for (size_t i = 0; i < take.sheet.count; i++)
        assert_int_equal(take.sheet.rows[i].action, TT_DO_CUT);
    assert_int_equal(take.sheet.rows[0].start_ms, 0);
    assert_int_equal(take.sheet.rows[take.sheet.count - 1].end_ms, 6000);
    tt_sheet_free(&take.sheet);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_curve_has_the_documented_values),
        cmocka_unit_test(of_two_pauses_the_longer_stays_the_longer),
        cmocka_unit_test(a_long_pause_is_shortened_by_the_curve_and_a_short_one_is_left_alone),
        cmocka_unit_test(what_a_word_goes_on_for_is_no_pause_but_beside_a_cut_it_is_not_known),
        cmocka_unit_test(the_guards_at_speech_stay_however_short_a_pause_is_wished),
        cmocka_unit_test(head_and_tail_keep_the_edge_that_was_asked_for),
        cmocka_unit_test(a_breath_before_the_first_word_stays_with_it),
        cmocka_unit_test(what_leads_faintly_into_a_cut_is_a_part_of_the_pause),
        cmocka_unit_test(a_pause_of_the_length_that_was_named_is_left_open),
        cmocka_unit_test(a_take_without_speech_is_left_alone),
        cmocka_unit_test(what_is_left_on_both_sides_of_a_cut_counts_as_one_pause),
        cmocka_unit_test(at_the_edges_of_a_cut_a_little_stays_too),
        cmocka_unit_test(where_all_speech_is_cut_the_rest_goes_with_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
