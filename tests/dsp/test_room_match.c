/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sounds.h"

#include "base/units.h"
#include "dsp/room_match.h"
#include "dsp/room_tone.h"

enum { RATE = 48000, SECONDS = 12, BINS = 513 };
static const double floor_power = 1e-6;
static float floor_row[BINS];
static int64_t floor_node = 0;

static struct tt_floor_track flat_floor(void)
{
    for (int i = 0; i < BINS; i++)
        floor_row[i] = (float)floor_power;
    return (struct tt_floor_track){
        .shape = tt_stft_shape_for(RATE), .node_count = 1, .node_sample = &floor_node, .power = floor_row};
}

/* Room 12 dB over the floor, a word of full level in each second's first half, a creak of 0.1 s in each of its second
 * halves. */
static float *restless_take(bool has_creaks)
{
    float *samples = test_sound(RATE * SECONDS);
    uint32_t seed = 3;
    for (int64_t i = 0; i < (int64_t)RATE * SECONDS; i++) {
        int64_t at = i % RATE;
        double scale = at < RATE / 2
                           ? 0.5
                           : sqrt(3 * floor_power) *
                                 tt_amplitude_from_db(has_creaks && at > RATE * 8 / 10 && at < RATE * 9 / 10 ? 40 : 12);
        samples[i] = (float)(scale * test_noise(&seed));
    }
    return samples;
}

static struct tt_span_samples pauses[SECONDS];

static struct tt_room_match *match_over_pauses(const struct tt_floor_track *track)
{
    struct tt_error err = {0};
    for (int s = 0; s < SECONDS; s++)
        pauses[s] = (struct tt_span_samples){s * RATE + RATE / 2, (s + 1) * RATE};
    struct tt_room_match *match = tt_room_match_create(track, 1.0, pauses, SECONDS, &err);
    assert_non_null(match);
    return match;
}

static double mean_db(const float *gain)
{
    double sum = 0;
    for (int bin = 3; bin < 341; bin++) /* 140 Hz to 16 kHz */
        sum += tt_db_from_amplitude((double)gain[bin]) / 338;
    return sum;
}

static void tone_is_raised_to_what_is_left_between_the_words(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_floor();
    for (int creaks = 0; creaks < 2; creaks++) {
        struct tt_room_match *match = match_over_pauses(&track);
        float *take = restless_take(creaks == 1), gain[BINS];
        tt_room_match_add(match, take, RATE * SECONDS);
        assert_true(tt_room_match_before(match, RATE * SECONDS, gain));
        for (int bin = 3; bin < 341; bin++) /* 140 Hz to 16 kHz */
            assert_within(tt_db_from_amplitude((double)gain[bin]), 12.0, 2.0, creaks ? 3.0 : 2.0);
        assert_within(mean_db(gain), 12.0, 0.5, creaks ? 1.0 : 0.5);
        free(take);
        tt_room_match_destroy(match);
    }
}

static void tone_goes_halfway_with_a_room_that_has_just_changed(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_floor();
    struct tt_room_match *match = match_over_pauses(&track);
    float *take = restless_take(false), gain[BINS];
    for (int64_t i = (int64_t)RATE * (SECONDS - 2); i < (int64_t)RATE * SECONDS; i++)
        take[i] *= (float)tt_amplitude_from_db(8);
    tt_room_match_add(match, take, RATE * SECONDS);
    assert_true(tt_room_match_before(match, RATE * SECONDS, gain));
    assert_within(mean_db(gain), 12.0 + 0.5 * 8.0, 1.0, 1.0);
    free(take);
    tt_room_match_destroy(match);
}

/* 8 dB louder from the middle on. */
static void what_lies_behind_is_told_from_what_lies_before(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_floor();
    struct tt_room_match *match = match_over_pauses(&track);
    float *take = restless_take(false), before[BINS], behind[BINS];
    const int64_t middle = (int64_t)RATE * SECONDS / 2;
    for (int64_t i = middle; i < (int64_t)RATE * SECONDS; i++)
        take[i] *= (float)tt_amplitude_from_db(8);
    tt_room_match_add(match, take, RATE * SECONDS);
    assert_true(tt_room_match_before(match, middle, before));
    assert_true(tt_room_match_behind(match, middle, (int64_t)RATE * SECONDS, behind));
    assert_within(mean_db(before), 12.0, 0.7, 0.7);
    assert_within(mean_db(behind), 20.0, 0.7, 0.7);
    /* Half a second of pause is too little. */
    assert_false(tt_room_match_behind(match, middle, middle + RATE, behind));
    assert_true(behind[100] == 1.0f);
    free(take);
    tt_room_match_destroy(match);
}

static void too_little_pause_leaves_the_tone_as_it_is(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_floor();
    struct tt_room_match *match = match_over_pauses(&track);
    float *take = restless_take(false), gain[BINS];
    tt_room_match_add(match, take, RATE * SECONDS);
    assert_false(tt_room_match_before(match, RATE * 6 / 10, gain));
    for (int bin = 0; bin < BINS; bin++)
        assert_true(gain[bin] == 1.0f);
    free(take);
    tt_room_match_destroy(match);
}

static void neither_blocks_nor_what_comes_later_change_it(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_floor();
    float *take = restless_take(true), expected[BINS], gain[BINS];
    struct tt_room_match *match = match_over_pauses(&track);
    tt_room_match_add(match, take, RATE * 8);
    assert_true(tt_room_match_before(match, RATE * 8, expected));
    tt_room_match_add(match, take + RATE * 8, RATE); /* some way ahead */
    assert_true(tt_room_match_before(match, RATE * 8, gain));
    assert_memory_equal(gain, expected, sizeof gain);
    tt_room_match_destroy(match);
    match = match_over_pauses(&track);
    for (size_t at = 0, part; at < RATE * 8; at += part) {
        part = 1 + at * 7 % 1999;
        if (part > RATE * 8 - at)
            part = RATE * 8 - at;
        tt_room_match_add(match, take + at, part);
    }
    assert_true(tt_room_match_before(match, RATE * 8, gain));
    assert_memory_equal(gain, expected, sizeof gain);
    tt_room_match_destroy(match);
    free(take);
}

static void a_tone_takes_the_colour_that_it_is_given(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct tt_floor_track track = flat_floor();
    struct tt_room_tone *tone = tt_room_tone_create(&track, 1.0, 5, &err);
    float colour[BINS], *samples = test_sound(RATE);
    for (int bin = 0; bin < BINS; bin++)
        colour[bin] = 4.0f;
    tt_room_tone_set_colour(tone, colour);
    tt_room_tone_make(tone, 0, samples, RATE);
    double power = 0;
    for (int i = 0; i < RATE; i++)
        power += (double)samples[i] * samples[i] / RATE;
    assert_within(tt_db_from_power(power / floor_power), 12.04, 0.3, 0.3);
    free(samples);
    tt_room_tone_destroy(tone);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(tone_is_raised_to_what_is_left_between_the_words),
        cmocka_unit_test(tone_goes_halfway_with_a_room_that_has_just_changed),
        cmocka_unit_test(what_lies_behind_is_told_from_what_lies_before),
        cmocka_unit_test(too_little_pause_leaves_the_tone_as_it_is),
        cmocka_unit_test(neither_blocks_nor_what_comes_later_change_it),
        cmocka_unit_test(a_tone_takes_the_colour_that_it_is_given),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
