/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/hum.h"
#include "noise_sounds.h"

enum { RATE = 16000 };

static struct tt_hum found_in(const float *samples, size_t count, int base_hz, size_t cut)
{
    struct tt_error err = {0};
    struct tt_hum_finder *finder = tt_hum_finder_create(RATE, base_hz, &err);
    assert_non_null(finder);
    for (size_t at = 0; at < count; at += cut)
        tt_hum_finder_add(finder, samples + at, count - at < cut ? count - at : cut);
    const struct tt_hum hum = tt_hum_finder_result(finder);
    tt_hum_finder_destroy(finder);
    return hum;
}

/* size: of the first harmonic, about; the others fall as those of add_hum. */
static void filter_out(float *samples, size_t count, const struct tt_hum *hum, float size, size_t cut)
{
    struct tt_error err = {0};
    float sizes[TT_HUM_HARMONICS];
    for (int k = 0; k < TT_HUM_HARMONICS; k++)
        sizes[k] = size * powf(10, -4.0f * (float)k / 20);
    struct tt_hum_filter *filter = tt_hum_filter_create(RATE, hum, sizes, &err);
    assert_non_null(filter);
    for (size_t at = 0; at < count; at += cut)
        tt_hum_filter_run(filter, samples + at, count - at < cut ? count - at : cut);
    tt_hum_filter_destroy(filter);
}

static void add_hum(float *samples, size_t count, double base_hz, double amplitude)
{
    for (int k = 1; k <= 6; k++)
        add_tone(samples, count, RATE, k * base_hz, amplitude * pow(10, -4.0 * (k - 1) / 20));
}

/* A voice that sings a steady melody around a fundamental, with vibrato, a breath every three seconds. */
static void add_voice(float *samples, size_t count, double fundamental_hz, double amplitude)
{
    double phase = 0;
    for (size_t i = 0; i < count; i++) {
        const double s = (double)i / RATE;
        phase += 2 * TEST_PI * fundamental_hz * (1 + 0.02 * sin(2 * TEST_PI * 3.7 * s) + 0.01 * sin(0.9 * s)) / RATE;
        const double level = fmod(s, 3.0) < 2.2 ? 0.5 - 0.5 * cos(2 * TEST_PI * fmod(s, 3.0) / 2.2) : 0;
        for (int k = 1; k <= 8; k++)
            samples[i] += (float)(amplitude * level * sin(k * phase) / k);
    }
}

static void hum_of_either_mains_is_found_between_phrases(void **state)
{
    (void)state;
    static const double bases[] = {49.96, 50.04, 59.97, 60.02};
    const size_t count = 30 * RATE;
    for (size_t b = 0; b < 4; b++) {
        float *in = test_sound(count);
        add_white(in, count, 0.003, 3);
        add_voice(in, count, 117, 0.1);
        add_hum(in, count, bases[b], 0.002);
        const struct tt_hum hum = found_in(in, count, 0, 4096);
        assert_within(hum.base_hz, bases[b], 0.03, 0.03);
        for (int k = 0; k < 4; k++)
            assert_true(hum.over_floor_db[k] > 6.0f);
        for (int k = 8; k < TT_HUM_HARMONICS; k++)
            assert_true(hum.over_floor_db[k] == 0.0f);
        free(in);
    }
}

/* Words with a quarter of a second between them; for four seconds before and behind them nobody speaks. */
static bool is_spoken(double second) { return second > 4 && second < 28 && fmod(second, 1.3) < 1.05; }

static void the_mains_frequency_is_told_by_long_pauses_and_not_by_short_ones(void **state)
{
    (void)state;
    static const double bases[] = {49.96, 50, 59.97, 60};
    const size_t count = 32 * RATE;
    for (size_t b = 0; b < 4; b++) {
        float *in = test_sound(count), *words = test_sound(count);
        add_white(in, count, 0.0003, 3);
        add_hum(in, count, bases[b], 0.002);
        add_voice(words, count, 117, 0.1);
        for (size_t i = 0; i < count; i++)
            in[i] += is_spoken((double)i / RATE) ? words[i] : 0.0f;
        assert_within(found_in(in, count, 0, 4096).base_hz, bases[b], 0.004, 0.004);
        free(in);
        free(words);
    }
}

static void the_wrong_mains_and_no_hum_are_not_found(void **state)
{
    (void)state;
    const size_t count = 30 * RATE;
    float *in = test_sound(count);
    add_white(in, count, 0.003, 3);
    assert_true(found_in(in, count, 0, 4096).base_hz <= 0);
    add_hum(in, count, 50, 0.002);
    assert_true(found_in(in, count, 60, 4096).base_hz <= 0);
    assert_true(found_in(in, count, 50, 4096).base_hz > 0);
    free(in);
}

static void a_voice_near_a_harmonic_is_not_taken_for_hum(void **state)
{
    (void)state;
    static const double fundamentals[] = {100, 120, 149, 180};
    const size_t count = 30 * RATE;
    for (size_t f = 0; f < 4; f++) {
        float *in = test_sound(count);
        add_white(in, count, 0.0005, 3);
        add_voice(in, count, fundamentals[f], 0.2);
        assert_true(found_in(in, count, 0, 4096).base_hz <= 0);
        free(in);
    }
}

static void cuts_of_the_stream_do_not_change_anything(void **state)
{
    (void)state;
    const size_t count = 9 * RATE;
    float *in = test_sound(count), *again = test_sound(count);
    add_white(in, count, 0.003, 3);
    add_hum(in, count, 50.02, 0.002);
    const struct tt_hum a = found_in(in, count, 0, count), b = found_in(in, count, 0, 77);
    assert_memory_equal(&a, &b, sizeof a);
    memcpy(again, in, count * sizeof *in);
    filter_out(in, count, &a, 0.002f, count);
    filter_out(again, count, &a, 0.002f, 77);
    assert_memory_equal(in, again, count * sizeof *in);
    free(in);
    free(again);
}

/* Adds a sound over and over, from a second on. */
static void add_again(float *samples, size_t count, size_t from_s, const float *sound, size_t length)
{
    for (size_t i = from_s * RATE; i < count; i++)
        samples[i] += sound[i % length];
}

/* 26 of the first 64 stretches have hum, and all behind them. */
static void behind_the_first_minutes_every_fourth_stretch_has_its_say(void **state)
{
    (void)state;
    const size_t count = 512 * RATE, hum_from_s = 152, silence_from = 256 * RATE;
    float *in = test_sound(count), *noise = test_sound(7 * RATE), *hum = test_sound(RATE);
    add_white(noise, 7 * RATE, 0.003, 3);
    add_hum(hum, RATE, 50, 0.002);
    add_again(in, count, 0, noise, 7 * RATE);
    add_again(in, count, hum_from_s, hum, RATE);
    const struct tt_hum found = found_in(in, count, 50, 4096);
    assert_within(found.base_hz, 50, 0.01, 0.01);
    /* Of each four behind the first three are not looked at: they may hold anything. */
    for (size_t s = 0; s < 16; s++)
        memset(in + silence_from + (16 * s + 1) * RATE, 0, 10 * RATE * sizeof *in);
    const struct tt_hum still = found_in(in, count, 50, 1234567);
    assert_memory_equal(&found, &still, sizeof found);
    memset(in + silence_from, 0, (count - silence_from) * sizeof *in);
    add_again(in, count, 256, noise, 7 * RATE);
    assert_true(found_in(in, count, 50, 4096).base_hz == 0);
    free(in);
    free(noise);
    free(hum);
}

/* Power within 1 Hz of a frequency over a stretch, as mean square. */
static double line_power(const float *samples, size_t count, double frequency_hz)
{
    double re = 0, im = 0;
    for (size_t i = 0; i < count; i++) {
        const double angle = 2 * TEST_PI * frequency_hz * (double)i / RATE,
                     weight = 1 - cos(2 * TEST_PI * (double)i / (double)count);
        re += (double)samples[i] * weight * cos(angle);
        im += (double)samples[i] * weight * sin(angle);
    }
    return 2 * (re * re + im * im) / ((double)count * (double)count);
}

static void hum_goes_down_to_the_floor_beside_it(void **state)
{
    (void)state;
    const size_t count = 20 * RATE, from = 8 * RATE, part = 8 * RATE;
    static const double drifts[] = {50.00, 50.03};
    for (size_t d = 0; d < 2; d++) {
        float *in = test_sound(count);
        add_white(in, count, 0.003, 3);
        add_hum(in, count, drifts[d], 0.004);
        struct tt_hum hum = found_in(in, count, 0, 4096);
        assert_true(hum.base_hz > 0);
        hum.base_hz -= 0.015; /* what a drift of the mains would do */
        filter_out(in, count, &hum, 0.004f, 4096);
        double lines = 0, beside = 0;
        for (int k = 1; k <= 6; k++) {
            lines += line_power(in + from, part, k * drifts[d]) / 6;
            for (int j = -3; j <= 3; j++)
                beside += j ? line_power(in + from, part, k * drifts[d] + 5 * j) / 36 : 0;
        }
        assert_true(10 * log10(lines / beside) < 3.0);
        free(in);
    }
}

static void a_voice_on_a_harmonic_is_neither_thinned_nor_given_a_tail(void **state)
{
    (void)state;
    const size_t count = 24 * RATE;
    float *voice = test_sound(count), *in = test_sound(count), *hum_alone = test_sound(count);
    add_voice(voice, count, 100, 0.1);
    add_white(voice, count, 0.0005, 3);
    add_hum(hum_alone, count, 50, 0.002);
    for (size_t i = 0; i < count; i++)
        in[i] = voice[i] + hum_alone[i];
    struct tt_hum hum = {.base_hz = 50};
    for (int k = 0; k < 6; k++)
        hum.over_floor_db[k] = 20;
    filter_out(in, count, &hum, 0.002f, 4096);
    float *rest = test_sound(count);
    for (size_t i = 0; i < count; i++)
        rest[i] = in[i] - voice[i];
    /* What is wrong, over all: far under the voice, and under the hum that was there. */
    const size_t from = 3 * RATE;
    assert_true(level_db(rest + from, count - from) < level_db(voice + from, count - from) - 30);
    assert_true(level_db(rest + from, count - from) < level_db(hum_alone + from, count - from) - 6);
    free(voice);
    free(in);
    free(hum_alone);
    free(rest);
}

/* A take may begin in the middle of a word. What of the voice is taken for hum then sounds on behind it. */
static void a_voice_from_the_first_sample_on_leaves_no_tail_and_the_hum_goes_behind_it(void **state)
{
    (void)state;
    const size_t count = 4 * RATE, said = RATE, late = 3 * RATE;
    static const float sizes[] = {0.002f, 0.0005f, 0.008f}; /* the right one; four times too small, and too large */
    for (size_t s = 0; s < 3; s++) {
        float *in = test_sound(count);
        add_white(in, count, 0.0005, 3);
        add_hum(in, count, 50, 0.002);
        const double before_db = level_db(in + said, RATE / 2);
        for (int k = 1; k <= 8; k++)
            add_tone(in, said, RATE, 103 * k, 0.1 / k);
        struct tt_hum hum = {.base_hz = 50};
        for (int k = 0; k < 6; k++)
            hum.over_floor_db[k] = 20;
        filter_out(in, count, &hum, sizes[s], 4096);
        if (s == 0)
            assert_true(level_db(in + said, RATE / 2) < before_db - 3);
        assert_true(level_db(in + said, RATE / 2) < before_db + 1);
        assert_true(level_db(in + late, count - late) < before_db - 9);
        free(in);
    }
}

/* Hum of six harmonics whose frequency and level are asked at every sample. */
static void add_changing_hum(float *samples, size_t count, double (*base_hz)(double s), double (*amplitude)(double s))
{
    double phase = 0;
    for (size_t i = 0; i < count; i++) {
        const double s = (double)i / RATE;
        phase += 2 * TEST_PI * base_hz(s) / RATE;
        for (int k = 1; k <= 6; k++)
            samples[i] += (float)(amplitude(s) * pow(10, -4.0 * (k - 1) / 20) * sin(k * phase + k * k));
    }
}

static double at_50_hz(double s) { return 50 + 0 * s; }
static double of_0002(double s) { return 0.002 + 0 * s; }
/* Within what is common for public mains (common practice, no source). */
static double wandering(double s) { return 50 + 0.02 * sin(2 * TEST_PI * s / 97) + 0.006 * sin(2 * TEST_PI * s / 29); }
/* Twice as far, and quicker. */
static double wandering_far(double s)
{
    return 50 + 0.05 * sin(2 * TEST_PI * s / 43) + 0.01 * sin(2 * TEST_PI * s / 11);
}
static double doubled_at_20_s(double s) { return s < 20 ? 0.002 : 0.004; }

/* How far what is left of the hum lies under it between phrases, in dB, from one second to another. */
static double taken_off_db(double (*base_hz)(double s), double (*amplitude)(double s), double from_s, double to_s)
{
    const size_t count = 60 * RATE;
    float *rest = test_sound(count), *in = test_sound(count), *hum_alone = test_sound(count);
    add_voice(in, count, 130, 0.3);
    add_white(in, count, 0.0002, 3);
    add_changing_hum(hum_alone, count, base_hz, amplitude);
    for (size_t i = 0; i < count; i++)
        rest[i] = -in[i];
    for (size_t i = 0; i < count; i++)
        in[i] += hum_alone[i];
    struct tt_hum hum = {.base_hz = 50};
    for (int k = 0; k < 6; k++)
        hum.over_floor_db[k] = 20;
    filter_out(in, count, &hum, 0.002f, 4096);
    double left = 0, whole = 0;
    for (size_t i = 0; i < count; i++) {
        const double s = (double)i / RATE;
        if (s < from_s || s >= to_s || fmod(s, 3.0) < 2.2)
            continue;
        left += (double)(rest[i] + in[i]) * (double)(rest[i] + in[i]);
        whole += (double)hum_alone[i] * (double)hum_alone[i];
    }
    free(rest);
    free(in);
    free(hum_alone);
    return 10 * log10(whole / left);
}

static void hum_is_away_as_soon_as_a_loud_voice_pauses(void **state)
{
    (void)state;
    assert_true(taken_off_db(at_50_hz, of_0002, 6, 60) > 43);
}

static void hum_is_followed_while_the_mains_wander(void **state)
{
    (void)state;
    assert_true(taken_off_db(wandering, of_0002, 6, 60) > 40);
    assert_true(taken_off_db(wandering_far, of_0002, 6, 60) > 11);
}

static void hum_that_jumps_is_away_again_behind_the_next_pause(void **state)
{
    (void)state;
    assert_true(taken_off_db(at_50_hz, doubled_at_20_s, 6, 20) > 38);
    assert_true(taken_off_db(at_50_hz, doubled_at_20_s, 24, 60) > 24);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hum_of_either_mains_is_found_between_phrases),
        cmocka_unit_test(the_mains_frequency_is_told_by_long_pauses_and_not_by_short_ones),
        cmocka_unit_test(the_wrong_mains_and_no_hum_are_not_found),
        cmocka_unit_test(a_voice_near_a_harmonic_is_not_taken_for_hum),
        cmocka_unit_test(cuts_of_the_stream_do_not_change_anything),
        cmocka_unit_test(behind_the_first_minutes_every_fourth_stretch_has_its_say),
        cmocka_unit_test(a_voice_from_the_first_sample_on_leaves_no_tail_and_the_hum_goes_behind_it),
        cmocka_unit_test(hum_is_away_as_soon_as_a_loud_voice_pauses),
        cmocka_unit_test(hum_is_followed_while_the_mains_wander),
        cmocka_unit_test(hum_that_jumps_is_away_again_behind_the_next_pause),
        cmocka_unit_test(hum_goes_down_to_the_floor_beside_it),
        cmocka_unit_test(a_voice_on_a_harmonic_is_neither_thinned_nor_given_a_tail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
