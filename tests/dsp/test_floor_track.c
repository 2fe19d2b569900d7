/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "noise_sounds.h"

static bool always(double second)
{
    (void)second;
    return true;
}
static bool never(double second)
{
    (void)second;
    return false;
}
/* Every fourth second is a pause. */
static bool now_and_then(double second) { return fmod(second, 4.0) < 1.0; }

static void a_weighting_is_that_of_the_standard(void **state)
{
    /* IEC 61672-1, rounded to 0.1 dB at exact base-ten frequencies. */
    static const double table[][2] = {{1, -70.4},  {1.3, -50.5}, {1.5, -39.4}, {1.7, -30.2}, {2, -19.1}, {2.3, -10.9},
                                      {2.7, -3.2}, {3, 0.0},     {3.3, 1.2},   {3.4, 1.3},   {3.5, 1.2}, {3.6, 1.0},
                                      {3.9, -1.1}, {4, -2.5},    {4.2, -6.6},  {4.3, -9.3}};
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        assert_within(tt_a_weight_db(pow(10, table[i][0])), table[i][1], 0.051, 0.051);
}

static void the_floor_of_white_noise_is_its_level(void **state)
{
    (void)state;
    static const int rates[] = {16000, 44100, 48000};
    for (size_t r = 0; r < 3; r++) {
        const size_t count = 30 * (size_t)rates[r];
        float *in = test_sound(count);
        add_white(in, count, 0.01, 2);
        struct tt_floor_track track = track_of(in, count, rates[r], 20, now_and_then);
        assert_within(floor_db_at(&track, 5), -40.0, 0.1, 0.1);
        assert_within(floor_db_at(&track, 29), -40.0, 0.1, 0.1);
        tt_floor_track_free(&track);
        free(in);
    }
}

static void a_fan_that_switches_on_is_right_two_seconds_later(void **state)
{
    (void)state;
    const int rate = 16000;
    const size_t count = 100 * (size_t)rate, from = 47 * (size_t)rate;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    for (size_t i = from; i < count; i++)
        in[i] *= 2.5f; /* 7.96 dB */
    struct tt_floor_track track = track_of(in, count, rate, 20, now_and_then);
    for (double s = 1; s < 99; s += 1)
        if (fabs(s - 47) >= 2.0)
            assert_within(floor_db_at(&track, s), s < 47 ? -40.0 : -32.04, 0.5, 0.5);
    tt_floor_track_free(&track);
    free(in);
}

/* White noise of -40 dBFS, 7.96 dB louder from a time on. */
static float *louder_from(double from_s, double seconds, int rate_hz)
{
    const size_t count = (size_t)(seconds * rate_hz);
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    for (size_t i = (size_t)(from_s * rate_hz); i < count; i++)
        in[i] *= 2.5f;
    return in;
}

static void a_fan_that_switches_on_within_a_pause_is_right_soon(void **state)
{
    (void)state;
    enum { RATE_HZ = 16000, SECONDS = 80 };
    for (double from_s = 48.1; from_s < 48.6; from_s += 0.1) {
        float *in = louder_from(from_s, SECONDS, RATE_HZ);
        struct tt_floor_track track = track_of(in, SECONDS * RATE_HZ, RATE_HZ, 20, now_and_then);
        assert_within(floor_db_at(&track, from_s - 0.4), -40.0, 0.7, 0.7);
        assert_within(floor_db_at(&track, from_s + 0.4), -32.04, 0.7, 0.7);
        tt_floor_track_free(&track);
        free(in);
    }
}

static bool rarely_behind_the_change(double second)
{
    return second < 16.0 || (second >= 21.5 && second < 21.6) || (second >= 24.5 && second < 24.8) || second >= 33.5;
}

static void a_fan_that_switches_on_within_words_is_right_in_the_first_short_pause(void **state)
{
    (void)state;
    enum { RATE_HZ = 16000, SECONDS = 36 };
    float *in = louder_from(17.25, SECONDS, RATE_HZ);
    for (size_t i = 0; i < SECONDS * RATE_HZ; i++)
        in[i] *= (float)pow(10, 0.05 * fmax(0, (double)i / RATE_HZ - 21) / 20); /* it goes on getting louder a little */
    struct tt_floor_track track = track_of(in, SECONDS * RATE_HZ, RATE_HZ, 20, rarely_behind_the_change);
    assert_within(floor_db_at(&track, 15.9), -40.0, 0.7, 0.7);
    assert_within(floor_db_at(&track, 21.55), -32.04, 1.0, 1.0);
    assert_within(floor_db_at(&track, 24.65), -32.04, 1.0, 1.0);
    tt_floor_track_free(&track);
    free(in);
}

static void a_room_that_drifts_by_several_decibels_is_followed(void **state)
{
    (void)state;
    const int rate = 16000;
    const size_t count = 80 * (size_t)rate;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    for (size_t i = 0; i < count; i++)
        in[i] *= (float)pow(10, 3.0 * sin(2 * TEST_PI * (double)i / rate / 40) / 20);
    struct tt_floor_track track = track_of(in, count, rate, 20, now_and_then);
    for (double s = 3; s < 77; s += 1)
        assert_within(floor_db_at(&track, s), -40.0 + 3.0 * sin(2 * TEST_PI * s / 40), 1.0, 1.0);
    tt_floor_track_free(&track);
    free(in);
}

static bool short_in_the_middle(double second)
{
    return second < 4 || second >= 16 || (second >= 9.9 && second < 10.1);
}

static void a_short_pause_in_a_drifting_room_is_heard(void **state)
{
    (void)state;
    const int rate = 16000;
    const size_t count = 20 * (size_t)rate;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    for (size_t i = 0; i < count; i++)
        in[i] *= (float)pow(10, (3.0 - 0.3 * fabs((double)i / rate - 10)) / 20);
    struct tt_floor_track track = track_of(in, count, rate, 20, short_in_the_middle);
    assert_within(floor_db_at(&track, 10), -37.0, 0.7, 0.7);
    tt_floor_track_free(&track);
    free(in);
}

static void a_steady_room_needs_a_node_a_window_only(void **state)
{
    (void)state;
    const int rate = 48000;
    const size_t count = 60 * (size_t)rate;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    struct tt_floor_track track = track_of(in, count, rate, 20, now_and_then);
    assert_int_equal(track.node_count, 3);
    tt_floor_track_free(&track);
    free(in);
}

static void a_recorder_that_mutes_between_phrases_does_not_become_the_floor(void **state)
{
    (void)state;
    const int rate = 16000;
    const size_t count = 40 * (size_t)rate;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    /* Only phrases are left; the pauses, which are all that is quiet, hold zeros. */
    for (size_t i = 0; i < count; i++)
        if (now_and_then((double)i / rate))
            in[i] = 0.0f;
    struct tt_floor_track track = track_of(in, count, rate, 20, now_and_then);
    assert_within(floor_db_at(&track, 5), -40.0, 1.0, 1.0);
    assert_within(floor_db_at(&track, 30), -40.0, 1.0, 1.0);
    tt_floor_track_free(&track);
    free(in);
}

static void without_a_pause_minima_find_the_floor(void **state)
{
    (void)state;
    const int rate = 16000;
    const size_t count = 60 * (size_t)rate;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    struct tt_floor_track steady = track_of(in, count, rate, 20, never);
    assert_int_equal(steady.node_count, 3);
    for (int s = 5; s < 60; s += 10)
        assert_within(floor_db_at(&steady, s), -40.0, 0.5, 0.5);
    /* Syllables that leave each part of the spectrum for a moment only. */
    for (size_t i = 0; i < count; i++) {
        const double s = (double)i / rate;
        in[i] += (float)(0.2 * fmax(0, sin(2 * TEST_PI * 2.5 * s)) * sin(2 * TEST_PI * 700 * s));
    }
    struct tt_floor_track voiced = track_of(in, count, rate, 20, never);
    for (int s = 5; s < 60; s += 10)
        assert_within(floor_db_at(&voiced, s), -40.0, 1.0, 2.0);
    tt_floor_track_free(&steady);
    tt_floor_track_free(&voiced);
    free(in);
}

static void a_click_in_a_pause_does_not_raise_the_floor(void **state)
{
    (void)state;
    const int rate = 16000;
    const size_t count = 40 * (size_t)rate;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 2);
    for (size_t at = 3000; at < count; at += 64000)
        in[at] += 0.9f;
    struct tt_floor_track track = track_of(in, count, rate, 20, now_and_then);
    assert_within(floor_db_at(&track, 10), -40.0, 0.2, 0.2);
    tt_floor_track_free(&track);
    free(in);
}

static void silence_and_nothing_leave_a_floor_above_zero(void **state)
{
    (void)state;
    static const size_t counts[] = {0, 1, 16000};
    for (size_t c = 0; c < 3; c++) {
        float *in = test_sound(counts[c]);
        struct tt_floor_track track = track_of(in, counts[c], 16000, 20, always);
        assert_true(track.node_count >= 1);
        for (int i = 0; i < track.shape.bin_count * track.node_count; i++)
            assert_true(track.power[i] > 0.0f && track.power[i] < 1e-10f);
        tt_floor_track_free(&track);
        free(in);
    }
}

static void between_nodes_the_floor_runs_straight_in_decibels(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_track(48000, 1e-4);
    const size_t bins = (size_t)track.shape.bin_count;
    track.node_count = 2;
    track.node_sample = realloc(track.node_sample, 2 * sizeof *track.node_sample);
    track.power = realloc(track.power, 2 * bins * sizeof *track.power);
    assert_true(track.node_sample && track.power);
    track.node_sample[1] = 48000;
    for (size_t i = 0; i < bins; i++)
        track.power[bins + i] = 1e-2f;
    assert_within(floor_db_at(&track, -1), -40, 1e-3, 1e-3);
    assert_within(floor_db_at(&track, 0.25), -35, 1e-3, 1e-3);
    assert_within(floor_db_at(&track, 0.5), -30, 1e-3, 1e-3);
    assert_within(floor_db_at(&track, 3), -20, 1e-3, 1e-3);
    tt_floor_track_free(&track);
}

static void white_noise_a_weighted_reads_less(void **state)
{
    (void)state;
    /* The mean of the weighting's power over 0 to 24 kHz, summed here at 1 Hz from the formula. */
    struct tt_floor_track track = flat_track(48000, 1.0);
    double sum = 0;
    for (int f = 1; f < 24000; f++)
        sum += pow(10, tt_a_weight_db(f) / 10) / 24000;
    assert_within(10 * log10(tt_floor_mean_square_a(&track, track.power)), 10 * log10(sum), 0.05, 0.05);
    assert_within(10 * log10(tt_floor_mean_square(&track, track.power)), 0.0, 1e-3, 1e-3);
    tt_floor_track_free(&track);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_weighting_is_that_of_the_standard),
        cmocka_unit_test(the_floor_of_white_noise_is_its_level),
        cmocka_unit_test(a_fan_that_switches_on_is_right_two_seconds_later),
        cmocka_unit_test(a_fan_that_switches_on_within_a_pause_is_right_soon),
        cmocka_unit_test(a_fan_that_switches_on_within_words_is_right_in_the_first_short_pause),
        cmocka_unit_test(a_room_that_drifts_by_several_decibels_is_followed),
        cmocka_unit_test(a_short_pause_in_a_drifting_room_is_heard),
        cmocka_unit_test(a_steady_room_needs_a_node_a_window_only),
        cmocka_unit_test(a_recorder_that_mutes_between_phrases_does_not_become_the_floor),
        cmocka_unit_test(without_a_pause_minima_find_the_floor),
        cmocka_unit_test(a_click_in_a_pause_does_not_raise_the_floor),
        cmocka_unit_test(silence_and_nothing_leave_a_floor_above_zero),
        cmocka_unit_test(between_nodes_the_floor_runs_straight_in_decibels),
        cmocka_unit_test(white_noise_a_weighted_reads_less),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
