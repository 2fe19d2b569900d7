/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/room_tone.h"
#include "noise_sounds.h"

static bool always(double second)
{
    (void)second;
    return true;
}

/* A room with colour: down by 3 dB an octave. */
static struct tt_floor_track pink_track(int rate_hz)
{
    struct tt_floor_track track = flat_track(rate_hz, 1e-4);
    for (int i = 1; i < track.shape.bin_count; i++)
        track.power[i] = 1e-2f / (float)i;
    return track;
}

static float *tone_of(const struct tt_floor_track *track, double gain, uint64_t seed, size_t count, size_t cut)
{
    struct tt_error err = {0};
    struct tt_room_tone *tone = tt_room_tone_create(track, gain, seed, &err);
    assert_non_null(tone);
    float *samples = test_sound(count);
    for (size_t at = 0; at < count; at += cut)
        tt_room_tone_make(tone, 0, samples + at, count - at < cut ? count - at : cut);
    tt_room_tone_destroy(tone);
    return samples;
}

static void its_level_is_that_of_the_track_and_the_gain(void **state)
{
    (void)state;
    static const int rates[] = {16000, 44100, 48000};
    for (size_t r = 0; r < 3; r++) {
        struct tt_floor_track track = pink_track(rates[r]);
        const size_t count = 20 * (size_t)rates[r];
        float *samples = tone_of(&track, 0.178, 1, count, 4096);
        assert_within(level_db(samples, count),
                      10 * log10(tt_floor_mean_square(&track, track.power)) + 20 * log10(0.178), 0.3, 0.3);
        /* From the first samples on. */
        struct tt_floor_track flat = flat_track(rates[r], 1e-4);
        float *start = tone_of(&flat, 1, 1, 2000, 4096);
        assert_within(level_db(start, 1000), -40, 1, 1);
        tt_floor_track_free(&track);
        tt_floor_track_free(&flat);
        free(samples);
        free(start);
    }
}

static void its_colour_is_that_of_the_track(void **state)
{
    (void)state;
    struct tt_floor_track track = pink_track(48000);
    const size_t count = 20 * 48000;
    float *samples = tone_of(&track, 1, 1, count, 4096);
    struct tt_floor_track heard = track_of(samples, count, 48000, 20, always);
    for (double centre = 125; centre < 20000; centre *= pow(2, 1.0 / 3)) {
        const int from = (int)ceil(centre * pow(2, -1.0 / 6) / 46.875),
                  to = (int)ceil(centre * pow(2, 1.0 / 6) / 46.875);
        double want = 1e-30, have = 1e-30;
        for (int i = from; i < to; i++) {
            want += (double)track.power[i];
            have += (double)heard.power[i];
        }
        assert_within(10 * log10(have / want), 0, 1, 1);
    }
    tt_floor_track_free(&track);
    tt_floor_track_free(&heard);
    free(samples);
}

static void the_same_seed_gives_the_same_bits_however_it_is_cut(void **state)
{
    (void)state;
    struct tt_floor_track track = pink_track(48000);
    float *a = tone_of(&track, 1, 5, 10000, 10000), *b = tone_of(&track, 1, 5, 10000, 77),
          *c = tone_of(&track, 1, 6, 10000, 10000);
    assert_memory_equal(a, b, 10000 * sizeof *a);
    double same = 0, power = 0;
    for (size_t i = 0; i < 10000; i++) {
        same += (double)a[i] * (double)c[i];
        power += (double)a[i] * (double)a[i];
    }
    assert_true(fabs(same / power) < 0.2);
    tt_floor_track_free(&track);
    free(a);
    free(b);
    free(c);
}

static void it_does_not_repeat_itself(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_track(16000, 1e-4);
    const size_t count = 4 * 16000, part = 8000;
    float *samples = tone_of(&track, 1, 5, count, 4096);
    for (size_t lag = 80; lag + part < count; lag += 80) {
        double same = 0;
        for (size_t i = 0; i < part; i++)
            same += (double)samples[i] * (double)samples[i + lag];
        assert_true(fabs(same / (double)part) < 0.1 * 1e-4);
    }
    tt_floor_track_free(&track);
    free(samples);
}

static void its_samples_are_spread_as_gaussian_noise(void **state)
{
    (void)state;
    struct tt_floor_track track = flat_track(48000, 1.0);
    const size_t count = 200000;
    float *samples = tone_of(&track, 1, 5, count, 4096);
    double fourth = 0;
    for (size_t i = 0; i < count; i++)
        fourth += pow((double)samples[i], 4) / (double)count;
    assert_within(fourth, 3.0, 0.1, 0.1); /* a Gaussian's fourth moment */
    tt_floor_track_free(&track);
    free(samples);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(its_level_is_that_of_the_track_and_the_gain),
        cmocka_unit_test(its_colour_is_that_of_the_track),
        cmocka_unit_test(the_same_seed_gives_the_same_bits_however_it_is_cut),
        cmocka_unit_test(it_does_not_repeat_itself),
        cmocka_unit_test(its_samples_are_spread_as_gaussian_noise),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
