/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Places in a take of 60 s with speech from 10 to 20 s, from 21 to 40 s and from 45 to 50 s; the last two are two runs
 * each, without a pause between them. */
#include "sheet/take_times.h"
#include "support.h"

enum { RATE_HZ = 8000 };
static const struct tt_run runs[] = {{.start_sample = 10 * RATE_HZ, .end_sample = 20 * RATE_HZ},
                                     {.start_sample = 21 * RATE_HZ, .end_sample = 30 * RATE_HZ},
                                     {.start_sample = 30 * RATE_HZ, .end_sample = 40 * RATE_HZ},
                                     {.start_sample = 45 * RATE_HZ, .end_sample = 95 * RATE_HZ / 2},
                                     {.start_sample = 95 * RATE_HZ / 2, .end_sample = 50 * RATE_HZ}};
static const struct take_times times = {RATE_HZ, 60 * RATE_HZ, runs, 5};

static double quiet_place_s(double at_s)
{
    return (double)take_quiet_place(&times, (int64_t)(at_s * RATE_HZ)) / RATE_HZ;
}

static void a_time_near_the_end_is_the_end(void **state)
{
    (void)state;
    assert_int_equal(take_sample(&times, 1500), 1500 * RATE_HZ / 1000);
    assert_int_equal(take_sample(&times, 59998), 59998 * RATE_HZ / 1000);
    assert_int_equal(take_sample(&times, 59999), 60 * RATE_HZ); /* sheets show no finer */
    assert_int_equal(take_sample(&times, 60000), 60 * RATE_HZ);
    assert_int_equal(take_sample(&times, INT64_MAX), 60 * RATE_HZ);
}

static void speech_is_as_far_as_its_nearest_edge(void **state)
{
    (void)state;
    assert_int_equal(take_distance_to_speech(&times, 4 * RATE_HZ), 6 * RATE_HZ);
    assert_int_equal(take_distance_to_speech(&times, 10 * RATE_HZ), 0);
    assert_int_equal(take_distance_to_speech(&times, 20 * RATE_HZ + 800), 800);
    assert_int_equal(take_distance_to_speech(&times, 21 * RATE_HZ - 800), 800);
    assert_int_equal(take_distance_to_speech(&times, 58 * RATE_HZ), 8 * RATE_HZ);
    const struct take_times silent = {.rate_hz = RATE_HZ, .frame_count = RATE_HZ};
    assert_true(take_distance_to_speech(&silent, 0) > silent.frame_count);
}

static void a_gap_opens_in_the_middle_of_a_near_pause_or_where_it_was_asked_for(void **state)
{
    (void)state;
    static const double asked_and_placed_s[][2] = {
        {20.1, 20.5},               /* in a pause */
        {4.0, 5.0},                 /* its middle is within 2 s */
        {2.0, 2.0},                 /* its middle is not */
        {0.05, 0.12},               /* but off the edge */
        {9.95, 9.88}, {55.0, 55.0}, /* behind all speech */
        {19.0, 20.5},               /* in speech: the pause behind it, 1 s away */
        {22.9, 20.5},               /* the one before */
        {10.5, 5.0},  {15.0, 15.0}, /* no pause is near */
        {29.5, 29.5},               /* where two runs meet there is none */
        {38.5, 42.5}, {46.6, 42.5}, /* behind it is none, though that is nearer */
    };
    for (size_t i = 0; i < sizeof asked_and_placed_s / sizeof *asked_and_placed_s; i++)
        assert_float_equal(quiet_place_s(asked_and_placed_s[i][0]), asked_and_placed_s[i][1], 1e-3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_time_near_the_end_is_the_end),
        cmocka_unit_test(speech_is_as_far_as_its_nearest_edge),
        cmocka_unit_test(a_gap_opens_in_the_middle_of_a_near_pause_or_where_it_was_asked_for),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
