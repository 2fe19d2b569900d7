/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/lag.h"

enum { RATE = TT_LAG_RATE_HZ, SECONDS = 90, COUNT = SECONDS * RATE };

/* Lines of four seconds with pauses of one, no two alike, in a room. To be freed. */
static float *reading(uint64_t seed)
{
    float *samples = calloc(COUNT, sizeof *samples);
    assert_non_null(samples);
    noise_add(samples, COUNT, 0.001, 7 + seed);
    for (int line = 0; line < SECONDS / 5; line++)
        voice_add(samples + (size_t)(line * 5 + 1) * RATE, 4 * RATE, RATE, 0.1, seed + 31 * (uint64_t)line);
    return samples;
}

static int16_t *as_int16(const float *samples, size_t count, double gain)
{
    int16_t *out = calloc(count + 1, sizeof *out);
    assert_non_null(out);
    for (size_t i = 0; i < count; i++)
        out[i] = (int16_t)lrint(fmax(-1, fmin(1, gain * (double)samples[i])) * 32767);
    return out;
}

static struct tt_lags find(const float *before, size_t before_count, const float *after, size_t after_count,
                           double gain)
{
    struct tt_error err = {0};
    struct tt_lags lags;
    int16_t *first = as_int16(before, before_count, 1), *second = as_int16(after, after_count, gain);
    assert_true(tt_lag_find(&(struct tt_lag_sound){first, before_count}, &(struct tt_lag_sound){second, after_count},
                            &lags, &err));
    free(first);
    free(second);
    return lags;
}

/* By how much the place that the pieces give is off, in seconds; -1 where they give none. */
static double off_by(const struct tt_lags *lags, double after_s, double before_s)
{
    for (size_t i = 0; i < lags->count; i++)
        if (after_s >= lags->pieces[i].after_s && after_s < lags->pieces[i].after_s + lags->pieces[i].length_s)
            return fabs(lags->pieces[i].before_s + after_s - lags->pieces[i].after_s - before_s);
    return -1;
}

static void a_lag_is_found_to_a_part_of_a_sample_whatever_the_gain(void **state)
{
    (void)state;
    const size_t skipped = 12345;
    float *before = reading(1);
    noise_add(before + skipped, COUNT - skipped, 0.01, 99); /* a noisier room on one side */
    float *after = reading(1);
    for (double gain = 0.02; gain < 3; gain *= 10) {
        struct tt_lags lags = find(before, COUNT, after + skipped, COUNT - skipped, gain);
        assert_int_equal(lags.count, 1);
        assert_true(fabs(lags.pieces[0].before_s - lags.pieces[0].after_s - (double)skipped / RATE) < 0.5 / RATE);
        assert_true(lags.pieces[0].length_s > (double)(COUNT - skipped) / RATE - 0.02);
        assert_true(lags.heard_s > 50 && lags.found_s == lags.heard_s);
        assert_true(lags.likeness > 0.7);
        assert_false(lags.is_turned);
        tt_lags_free(&lags);
    }
    free(before);
    free(after);
}

static void what_begins_before_the_other_has_no_place_there(void **state)
{
    (void)state;
    float *all = reading(2);
    struct tt_lags lags = find(all + 7 * RATE, COUNT - 7 * RATE, all, COUNT, 1);
    assert_int_equal(lags.count, 1);
    assert_true(fabs(lags.pieces[0].after_s - 7) < 0.001 && lags.pieces[0].before_s < 0.001);
    tt_lags_free(&lags);
    free(all);
}

static void parts_that_were_taken_out_or_put_in_split_it_into_pieces(void **state)
{
    (void)state; /* out: 20.5 to 31.2 s; in, behind 50.5 s: two seconds of room */
    float *before = reading(3), *after = calloc(COUNT, sizeof *after);
    const size_t out_from = 41 * RATE / 2, out_to = 156 * RATE / 5, in_at = 101 * RATE / 2;
    assert_non_null(after);
    size_t count = out_from;
    memcpy(after, before, count * sizeof *after);
    memcpy(after + count, before + out_to, (in_at - out_to) * sizeof *after);
    count += in_at - out_to;
    noise_add(after + count, 2 * RATE, 0.001, 5);
    count += 2 * RATE;
    memcpy(after + count, before + in_at, (COUNT - in_at) * sizeof *after);
    count += COUNT - in_at;
    struct tt_lags lags = find(before, COUNT, after, count, 0.5);
    assert_int_equal(lags.count, 3);
    const double out_s = 31.2 - 20.5;
    for (double t = 0.1; t < 20; t += 0.5)
        assert_true(off_by(&lags, t, t) >= 0 && off_by(&lags, t, t) < 0.0005);
    for (double t = 21.5; t < 50 - out_s; t += 0.5)
        assert_true(off_by(&lags, t, t + out_s) >= 0 && off_by(&lags, t, t + out_s) < 0.0005);
    for (double t = 54 - out_s; t < 80; t += 0.5)
        assert_true(off_by(&lags, t, t + out_s - 2) >= 0 && off_by(&lags, t, t + out_s - 2) < 0.0005);
    for (size_t i = 1; i < lags.count; i++) {
        assert_true(lags.pieces[i].after_s >= lags.pieces[i - 1].after_s + lags.pieces[i - 1].length_s - 1e-9);
        assert_true(lags.pieces[i].before_s >= lags.pieces[i - 1].before_s + lags.pieces[i - 1].length_s - 1e-9);
    }
    tt_lags_free(&lags);
    free(after);
    free(before);
}

static void a_piece_reaches_as_far_as_both_are_alike_and_no_farther(void **state)
{
    (void)state; /* the second is another reading up to 20 s and from 60 s on */
    float *before = reading(9), *after = reading(1009);
    memcpy(after + 20 * RATE, before + 20 * RATE, 40 * RATE * sizeof *after);
    struct tt_lags lags = find(before, COUNT, after, COUNT, 1);
    assert_int_equal(lags.count, 1);
    /* Lines begin a second behind these places: what lies between is pause, which is alike to any other. */
    assert_in_range((unsigned)(lags.pieces[0].after_s * 1000), 19700, 21300);
    assert_in_range((unsigned)((lags.pieces[0].after_s + lags.pieces[0].length_s) * 1000), 59700, 61300);
    assert_true(fabs(lags.pieces[0].before_s - lags.pieces[0].after_s) < 0.5 / RATE);
    tt_lags_free(&lags);
    free(after);
    free(before);
}

static void a_clock_that_drifts_is_followed(void **state)
{
    (void)state; /* 50 parts in a million, as recorders' crystals may: 4.5 ms in all */
    const double pace = 1.00005;
    float *before = reading(4), *after = calloc(COUNT, sizeof *after);
    assert_non_null(after);
    for (size_t i = 0; i + 2 < COUNT; i++) {
        double at = (double)i * pace;
        size_t whole = (size_t)at;
        if (whole + 1 < COUNT)
            after[i] = (float)((1 - (at - (double)whole)) * (double)before[whole] +
                               (at - (double)whole) * (double)before[whole + 1]);
    }
    struct tt_lags lags = find(before, COUNT, after, COUNT - 2, 1);
    assert_int_equal(lags.found_s, lags.heard_s);
    for (double t = 1; t < SECONDS - 2; t += 1)
        assert_true(off_by(&lags, t, t * pace) < 0.0006);
    tt_lags_free(&lags);
    free(after);
    free(before);
}

static void a_turned_polarity_is_known(void **state)
{
    (void)state;
    float *all = reading(5);
    struct tt_lags lags = find(all, COUNT, all + 100, COUNT - 100, -1);
    assert_true(lags.is_turned && lags.count == 1);
    tt_lags_free(&lags);
    free(all);
}

static void another_reading_is_not_found(void **state)
{
    (void)state;
    float *one = reading(6), *other = reading(1000);
    struct tt_lags lags = find(one, COUNT, other, COUNT, 1);
    assert_true(lags.heard_s > 50);
    assert_true(5 * lags.found_s < lags.heard_s);
    tt_lags_free(&lags);
    free(one);
    free(other);
}

static void silence_and_scraps_are_found_nowhere(void **state)
{
    (void)state;
    float *all = reading(8), *none = calloc(COUNT, sizeof *none);
    assert_non_null(none);
    for (size_t count = 0; count < 9000; count += 1500) {
        struct tt_lags lags = find(all, COUNT, none, count, 1);
        assert_int_equal(lags.count, 0);
        tt_lags_free(&lags);
        lags = find(none, count, all, COUNT, 1);
        assert_int_equal(lags.count, 0);
        tt_lags_free(&lags);
    }
    free(all);
    free(none);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_lag_is_found_to_a_part_of_a_sample_whatever_the_gain),
        cmocka_unit_test(what_begins_before_the_other_has_no_place_there),
        cmocka_unit_test(parts_that_were_taken_out_or_put_in_split_it_into_pieces),
        cmocka_unit_test(a_piece_reaches_as_far_as_both_are_alike_and_no_farther),
        cmocka_unit_test(a_clock_that_drifts_is_followed),
        cmocka_unit_test(a_turned_polarity_is_known),
        cmocka_unit_test(another_reading_is_not_found),
        cmocka_unit_test(silence_and_scraps_are_found_nowhere),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
