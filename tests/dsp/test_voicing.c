/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is voiced and what is not follows from the definition: a periodic sound's normalised autocorrelation at its
 * period is 1, and with noise of the same power added it is 1/2. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <cmocka.h>

#include "dsp/voicing.h"

static const double pi = 3.14159265358979323846;

struct voice {
    double pitch_hz, tone, noise;
};

/* Harmonics falling by half each, and white noise; mean of the readings after the start. */
static double mean_reading(int rate_hz, struct voice voice)
{
    int hop = (int)(rate_hz / 187.5 + 0.5), calls = 400, count = 0;
    struct tt_error err = {0};
    struct tt_voicing *voicing = tt_voicing_create(rate_hz, hop, &err);
    float *samples = malloc((size_t)hop * sizeof *samples);
    assert_non_null(voicing);
    assert_non_null(samples);
    uint32_t random = 1;
    double sum = 0.0;
    for (int call = 0; call < calls; call++) {
        for (int i = 0; i < hop; i++) {
            double t = ((double)call * hop + i) / rate_hz, x = 0.0, high = 1.0;
            for (int k = 1; k <= 8 && voice.pitch_hz > 0.0; k++, high *= 0.5)
                x += high * sin(2.0 * pi * k * voice.pitch_hz * t + k);
            random = random * 1664525u + 1013904223u;
            samples[i] = (float)(voice.tone * x + voice.noise * ((double)random / 2147483648.0 - 1.0));
        }
        float reading = tt_voicing_next(voicing, samples);
        assert_true(reading >= 0.0f && reading <= 1.0f);
        if (call < 60)
            continue;
        sum += reading;
        count++;
    }
    free(samples);
    tt_voicing_destroy(voicing);
    return sum / count;
}

static void a_clear_voice_reads_near_one_at_every_rate_and_pitch(void **state)
{
    (void)state;
    static const int rates[] = {8000, 16000, 22050, 32000, 44100, 48000, 88200, 96000, 192000};
    static const double pitches[] = {65.0, 90.0, 130.0, 210.0, 300.0, 364.0, 390.0};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++)
        for (size_t p = 0; p < sizeof pitches / sizeof *pitches; p++)
            assert_true(mean_reading(rates[r], (struct voice){pitches[p], 0.2, 0.0}) > 0.9);
}

static void white_noise_reads_low(void **state)
{
    (void)state;
    assert_true(mean_reading(48000, (struct voice){0.0, 0.0, 0.1}) < 0.45);
    assert_true(mean_reading(16000, (struct voice){0.0, 0.0, 0.1}) < 0.45);
}

static void a_voice_in_noise_lies_between(void **state)
{
    (void)state;
    double clear = mean_reading(48000, (struct voice){120.0, 0.1, 0.05}),
           veiled = mean_reading(48000, (struct voice){120.0, 0.1, 1.0});
    assert_true(clear > 0.9);
    assert_true(veiled > 0.4 && veiled < clear);
}

static void silence_reads_nothing(void **state)
{
    (void)state;
    assert_true(mean_reading(48000, (struct voice){0.0, 0.0, 0.0}) == 0.0);
}

/* A voice that begins at a hop is first heard about when that hop comes out. */
static void a_reading_belongs_to_the_hop_it_says(void **state)
{
    (void)state;
    struct tt_error err = {0};
    enum { HOP = 256, BEGIN = 100 };
    struct tt_voicing *voicing = tt_voicing_create(48000, HOP, &err);
    assert_non_null(voicing);
    int first = -1;
    for (int call = 0; call < 2 * BEGIN; call++) {
        float samples[HOP];
        for (int i = 0; i < HOP; i++)
            samples[i] = call < BEGIN ? 0.0f : 0.3f * (float)sin(2.0 * pi * 150.0 * (call * HOP + i) / 48000.0);
        float reading = tt_voicing_next(voicing, samples);
        if (first < 0 && reading > 0.7f)
            first = call - tt_voicing_delay_hops(voicing);
    }
    assert_in_range(first + 100, BEGIN + 95, BEGIN + 105); /* the window reaches 28 ms to both sides */
    tt_voicing_destroy(voicing);
}

static void skipping_keeps_the_place(void **state)
{
    (void)state;
    struct tt_error err = {0};
    enum { HOP = 256 };
    struct tt_voicing *every = tt_voicing_create(48000, HOP, &err), *second = tt_voicing_create(48000, HOP, &err);
    assert_non_null(every);
    assert_non_null(second);
    uint32_t random = 3;
    for (int call = 0; call < 300; call++) {
        float samples[HOP];
        for (int i = 0; i < HOP; i++) {
            random = random * 1664525u + 1013904223u;
            samples[i] = (float)(random >> 8) / 16777216.0f - 0.5f;
        }
        float all = tt_voicing_next(every, samples);
        if (call % 2 == 0) {
            tt_voicing_skip(second, samples);
            continue;
        }
        assert_true(tt_voicing_next(second, samples) == all);
    }
    tt_voicing_destroy(every);
    tt_voicing_destroy(second);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_clear_voice_reads_near_one_at_every_rate_and_pitch),
        cmocka_unit_test(white_noise_reads_low),
        cmocka_unit_test(a_voice_in_noise_lies_between),
        cmocka_unit_test(silence_reads_nothing),
        cmocka_unit_test(a_reading_belongs_to_the_hop_it_says),
        cmocka_unit_test(skipping_keeps_the_place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
