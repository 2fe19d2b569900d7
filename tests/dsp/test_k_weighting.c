/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sounds.h"

#include "dsp/k_weighting.h"

static void assert_biquad(struct tt_biquad filter, const double *expected, double tolerance)
{
    const double values[] = {filter.b0, filter.b1, filter.b2, filter.a1, filter.a2};
    for (size_t i = 0; i < 5; i++)
        assert_within(values[i], expected[i], tolerance, tolerance);
}

/* ITU-R BS.1770-5 Annex 1 tables 1 and 2. */
static void the_published_digits_for_48_khz_are_reproduced(void **state)
{
    (void)state;
    static const double shelf[] = {1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241,
                                   0.73248077421585};
    static const double highpass[] = {1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621};
    assert_biquad(tt_k_shelf(48000), shelf, 1e-14);
    assert_biquad(tt_k_highpass(48000), highpass, 1e-14);
}

/* The standard asks for "the same frequency response" at other rates and prints no digits; these were calculated apart
 * from this program, from the same design parameters. */
static void other_rates_follow_from_the_same_prototypes(void **state)
{
    (void)state;
    static const struct {
        int rate_hz;
        double shelf[5], highpass[5];
    } rows[] = {
        {16000,
         {1.44329522349136, -1.83157538126046, 0.68165875741197, -1.10153376910699, 0.39491236874986},
         {1, -2, 1, -1.97028952800443, 0.97051049053584}},
        {22050,
         {1.47982535097775, -2.17072861285683, 0.86084248472655, -1.33830533606613, 0.50824455891360},
         {1, -2, 1, -1.97839760259012, 0.97851441950325}},
        {32000,
         {1.51117789956876, -2.46488941336014, 1.04163327352230, -1.53904509625064, 0.62696685598156},
         {1, -2, 1, -1.98508966898869, 0.98514532066955}},
        {44100,
         {1.53084123005035, -2.65097999515473, 1.16907907992159, -1.66365511325602, 0.71259542807323},
         {1, -2, 1, -1.98916967362980, 0.98919903578704}},
        {96000,
         {1.55971422897580, -2.92674157825108, 1.37826120231582, -1.84460946989011, 0.85584332293064},
         {1, -2, 1, -1.99501754472472, 0.99502375904092}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        assert_biquad(tt_k_shelf(rows[i].rate_hz), rows[i].shelf, 2e-14);
        assert_biquad(tt_k_highpass(rows[i].rate_hz), rows[i].highpass, 2e-14);
    }
}

/* The plain difference equation of the standard's figure 4, in extended precision. */
static long double plain_energy(struct tt_biquad filter[2], long double past[2][4], const float *samples, size_t count)
{
    long double energy = 0;
    for (size_t i = 0; i < count; i++) {
        long double value = samples[i];
        for (int f = 0; f < 2; f++) {
            long double *p = past[f];
            const long double out = filter[f].b0 * value + filter[f].b1 * p[0] + filter[f].b2 * p[1] -
                                    filter[f].a1 * p[2] - filter[f].a2 * p[3];
            p[1] = p[0], p[0] = value, p[3] = p[2], p[2] = out;
            value = out;
        }
        energy += value * value;
    }
    return energy;
}

static void parts_side_by_side_give_what_the_difference_equation_gives(void **state)
{
    (void)state;
    static const int rates_hz[] = {8000, 11025, 22050, 44100, 48000, 96000, 192000};
    for (size_t r = 0; r < sizeof rates_hz / sizeof *rates_hz; r++) {
        const int rate_hz = rates_hz[r];
        const size_t count = (size_t)rate_hz;
        float *samples = test_speech(rate_hz, count, 11);
        for (size_t i = 0; i < count; i++)
            samples[i] += 0.1F; /* a constant, the hardest for the high-pass */
        struct tt_biquad filter[2] = {tt_k_shelf(rate_hz), tt_k_highpass(rate_hz)};
        long double past[2][4] = {{0}};
        struct tt_k_weighting *k = tt_k_weighting_create(rate_hz, NULL);
        assert_non_null(k);
        for (size_t at = 0, number = 1; at < count; number++) {
            const size_t end = number * count / 100, part = end - at;
            const double expected = (double)plain_energy(filter, past, samples + at, part);
            double power_in = 0;
            for (size_t i = at; i < end; i++)
                power_in += (double)samples[i] * samples[i];
            /* What passes of a constant is rounding. At 192 kHz the high-pass lies four times as near to the unit
             * circle, which costs as much. */
            const double tolerance = (rate_hz == 192000 ? 4e-9 : 1e-9) * expected + 1e-13 * power_in;
            assert_within(tt_k_weighting_energy(k, samples + at, part), expected, tolerance, tolerance);
            at = end;
        }
        tt_k_weighting_destroy(k);
        free(samples);
    }
}

/* Left alone, states would go on shrinking, through denormal numbers, which are slow. */
static void the_filters_come_to_rest_within_a_second_of_silence(void **state)
{
    (void)state;
    enum { STEP = 480 };
    float samples[STEP] = {1.0F, -0.5F, 0.25F};
    struct tt_k_weighting *k = tt_k_weighting_create(48000, NULL);
    assert_true(tt_k_weighting_energy(k, samples, STEP) > 0);
    memset(samples, 0, sizeof samples);
    for (int i = 0; i < 99; i++)
        (void)tt_k_weighting_energy(k, samples, STEP);
    const double energy = tt_k_weighting_energy(k, samples, STEP);
    assert_within(energy, 0, 0, 0);
    tt_k_weighting_destroy(k);
    tt_k_weighting_destroy(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_published_digits_for_48_khz_are_reproduced),
        cmocka_unit_test(other_rates_follow_from_the_same_prototypes),
        cmocka_unit_test(parts_side_by_side_give_what_the_difference_equation_gives),
        cmocka_unit_test(the_filters_come_to_rest_within_a_second_of_silence),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
