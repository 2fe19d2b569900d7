/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Block powers are drawn from the distribution that noise has in a band: the mean of n squares of a complex Gaussian (a
 * gamma distribution), so that the true floor is known. */
#include "sounds.h"

#include "dsp/band_floor.h"

static const double blocks_per_s = 46.875, window_s = 26.0;
static const double room_db = -60.0;

/* Mean power 1 with the spread of a band's width over a block's 21 ms. */
static double noise_power(uint32_t *random, double width_hz)
{
    int count = (int)(width_hz / blocks_per_s + 0.5);
    double sum = 0.0;
    for (int i = 0; i < count; i++)
        sum -= log(0.5 * test_noise(random) + 0.5 + 1e-10);
    return sum / count;
}

struct scene {
    double seconds, step_at_s, step_db, speech_share, breath_db, silent_from_s, silent_to_s;
};

static struct tt_band_powers block_of(const struct tt_band_plan *plan, const struct scene *scene, double t,
                                      uint32_t *random)
{
    struct tt_band_powers powers = {0};
    double place = fmod(t, 5.0) / 5.0, bins = 0.0, room = room_db + (t >= scene->step_at_s ? scene->step_db : 0.0);
    double sound = place < scene->speech_share                                      ? -25.0 + 8.0 * sin(25.0 * t)
                   : scene->speech_share > 0.0 && place < scene->speech_share + 0.1 ? scene->breath_db
                                                                                    : -300.0;
    for (int b = 0; b < plan->band_count; b++) {
        powers.band[b] =
            (float)(noise_power(random, plan->width_hz[b]) * (pow(10.0, room / 10.0) + pow(10.0, sound / 10.0)));
        powers.all += (float)plan->width_hz[b] * powers.band[b];
        bins += plan->width_hz[b];
    }
    powers.all /= (float)bins;
    return powers;
}

/* Levels of every block, in order. */
static struct tt_room_level *follow(const struct scene *scene, int *count)
{
    struct tt_error err = {0};
    struct tt_band_plan plan = tt_band_plan_for(tt_stft_shape_for(48000));
    struct tt_band_floor *tracker = tt_band_floor_create(&plan, blocks_per_s, window_s, &err);
    assert_non_null(tracker);
    int blocks = (int)(scene->seconds * blocks_per_s), known = 0;
    struct tt_room_level *levels = calloc((size_t)blocks + 1, sizeof *levels);
    assert_non_null(levels);
    uint32_t random = 99;
    for (int i = 0; i < blocks; i++) {
        double t = i / blocks_per_s;
        struct tt_band_powers powers = block_of(&plan, scene, t, &random);
        bool is_silent = t >= scene->silent_from_s && t < scene->silent_to_s;
        if (is_silent)
            powers = (struct tt_band_powers){0};
        tt_band_floor_add(tracker, &powers, !is_silent);
        while (tt_band_floor_next(tracker, &levels[known]))
            known++;
        assert_true(i + 1 - known <= tt_band_floor_delay_blocks(tracker));
    }
    tt_band_floor_end(tracker);
    while (known < blocks && tt_band_floor_next(tracker, &levels[known]))
        known++;
    assert_false(tt_band_floor_next(tracker, &levels[blocks]));
    assert_int_equal(known, blocks);
    tt_band_floor_destroy(tracker);
    *count = blocks;
    return levels;
}

static void check_floor(const struct tt_room_level *levels, double from_s, double to_s, double wanted_db,
                        double within_db)
{
    for (int i = (int)(from_s * blocks_per_s); i < (int)(to_s * blocks_per_s); i++) {
        for (int b = 0; b < TT_BANDS; b++)
            assert_within(levels[i].band_db[b], wanted_db, within_db, within_db);
        assert_within(levels[i].all_db, wanted_db, within_db, within_db);
    }
}

static void steady_noise_is_the_floor(void **state)
{
    (void)state;
    int count;
    struct tt_room_level *levels = follow(&(struct scene){.seconds = 120.0, .step_at_s = 1e9}, &count);
    check_floor(levels, 0.0, 120.0, room_db, 1.5);
    free(levels);
}

static void dense_speech_with_breaths_does_not_lift_it(void **state)
{
    (void)state;
    int count;
    struct tt_room_level *levels =
        follow(&(struct scene){.seconds = 120.0, .step_at_s = 1e9, .speech_share = 0.82, .breath_db = -48.0}, &count);
    check_floor(levels, 0.0, 120.0, room_db, 2.0);
    for (int i = 0; i < count; i++)
        assert_within(levels[i].speech_db, -22.5, 3.0, 3.0); /* the power mean of a sine of +-8 dB in dB */
    free(levels);
}

static void a_step_of_the_room_is_followed_at_once_in_both_directions(void **state)
{
    (void)state;
    static const double steps_db[] = {8.0, -8.0};
    for (int k = 0; k < 2; k++) {
        int count;
        struct tt_room_level *levels = follow(
            &(struct scene){
                .seconds = 120.0, .step_at_s = 60.0, .step_db = steps_db[k], .speech_share = 0.6, .breath_db = -300.0},
            &count);
        check_floor(levels, 0.0, 56.0, room_db, 2.0);
        check_floor(levels, 64.0, 120.0, room_db + steps_db[k], 2.0);
        free(levels);
    }
}

static void silence_is_no_room(void **state)
{
    (void)state;
    int count;
    struct tt_room_level *levels =
        follow(&(struct scene){.seconds = 90.0, .step_at_s = 1e9, .silent_from_s = 30.0, .silent_to_s = 70.0}, &count);
    check_floor(levels, 0.0, 30.0, room_db, 1.5);
    check_floor(levels, 71.0, 90.0, room_db, 1.5);
    free(levels);
}

static void a_short_take_has_a_floor_too(void **state)
{
    (void)state;
    static const double lengths_s[] = {0.03, 0.3, 4.0, 12.0};
    for (size_t k = 0; k < sizeof lengths_s / sizeof *lengths_s; k++) {
        int count;
        struct tt_room_level *levels = follow(&(struct scene){.seconds = lengths_s[k], .step_at_s = 1e9}, &count);
        check_floor(levels, 0.0, lengths_s[k], room_db, lengths_s[k] < 1.0 ? 6.0 : 2.5);
        free(levels);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(steady_noise_is_the_floor),
        cmocka_unit_test(dense_speech_with_breaths_does_not_lift_it),
        cmocka_unit_test(a_step_of_the_room_is_followed_at_once_in_both_directions),
        cmocka_unit_test(silence_is_no_room),
        cmocka_unit_test(a_short_take_has_a_floor_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
