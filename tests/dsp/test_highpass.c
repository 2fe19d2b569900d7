/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/highpass.h"
#include "noise_sounds.h"

static float *filtered(const float *in, size_t count, int rate_hz, double cutoff_hz, size_t cut)
{
    struct tt_error err = {0};
    struct tt_highpass *filter = tt_highpass_create(rate_hz, cutoff_hz, &err);
    assert_non_null(filter);
    float *out = test_sound(count + tt_highpass_latency(filter));
    size_t have = 0;
    for (size_t at = 0; at < count; at += cut) {
        const size_t part = count - at < cut ? count - at : cut;
        const size_t got = tt_highpass_run(filter, in + at, part, out + have);
        assert_true(got <= part + tt_highpass_latency(filter));
        have += got;
    }
    have += tt_highpass_finish(filter, out + have);
    assert_int_equal(have, count);
    tt_highpass_destroy(filter);
    return out;
}

/* Amplitude ratio and phase at a frequency, over the middle second of three. */
static void response(int rate_hz, double cutoff_hz, double frequency_hz, double *db, double *phase)
{
    const size_t rate = (size_t)rate_hz, count = 3 * rate;
    float *in = test_sound(count);
    add_tone(in, count, rate_hz, frequency_hz, 0.5);
    float *out = filtered(in, count, rate_hz, cutoff_hz, 4096);
    double s = 0, c = 0;
    for (size_t i = rate; i < 2 * rate; i++) {
        const double angle = 2 * TEST_PI * frequency_hz * (double)i / rate_hz;
        s += (double)out[i] * sin(angle);
        c += (double)out[i] * cos(angle);
    }
    *db = 20 * log10(hypot(s, c) / (0.25 * rate_hz));
    *phase = atan2(c, s);
    free(in);
    free(out);
}

/* Fourth-order Butterworth both ways: 1 / (1 + (fb/f)^8), -3.01 dB at the cutoff (textbook formula). */
static void the_response_is_a_butterworth_run_both_ways(void **state)
{
    (void)state;
    static const double cases[][2] = {{48000, 70}, {44100, 70}, {192000, 70}, {8000, 100}, {48000, 20}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double db, phase;
        const int rate_hz = (int)cases[i][0];
        response(rate_hz, cases[i][1], cases[i][1], &db, &phase);
        assert_within(db, -3.01, 0.02, 0.02);
        assert_within(phase, 0.0, 1e-4, 1e-4);
        response(rate_hz, cases[i][1], 1.5 * cases[i][1], &db, &phase);
        assert_within(db, -0.139, 0.05, 0.05);
        response(rate_hz, cases[i][1], 10 * cases[i][1], &db, &phase);
        assert_within(db, 0.0, 0.001, 0.001);
        assert_within(phase, 0.0, 1e-6, 1e-6);
        response(rate_hz, cases[i][1], 0.5 * cases[i][1], &db, &phase);
        assert_within(db, -40.6, 2.0, 0.5);
    }
}

static void a_constant_vanishes_from_the_first_sample_on(void **state)
{
    (void)state;
    const size_t count = 48000;
    float *in = test_sound(count);
    for (size_t i = 0; i < count; i++)
        in[i] = 0.5f;
    float *out = filtered(in, count, 48000, 70, 1000);
    for (size_t i = 0; i < count; i++)
        assert_within((double)out[i], 0.0, 1e-6, 1e-6);
    free(in);
    free(out);
}

static void an_offset_does_not_change_what_is_above(void **state)
{
    (void)state;
    const size_t count = 48000;
    float *in = test_sound(count), *offset = test_sound(count);
    add_white(in, count, 0.05, 5);
    for (size_t i = 0; i < count; i++)
        offset[i] = in[i] + 0.25f;
    float *a = filtered(in, count, 48000, 70, 1000), *b = filtered(offset, count, 48000, 70, 1000);
    for (size_t i = 0; i < count; i++)
        assert_within((double)b[i], (double)a[i], 1e-6, 1e-6);
    free(in);
    free(offset);
    free(a);
    free(b);
}

static void cuts_of_the_stream_do_not_change_a_bit(void **state)
{
    (void)state;
    const size_t count = 100000;
    float *in = test_sound(count);
    add_white(in, count, 0.2, 9);
    float *a = filtered(in, count, 48000, 70, count), *b = filtered(in, count, 48000, 70, 77),
          *c = filtered(in, count, 48000, 70, 30011);
    assert_memory_equal(a, b, count * sizeof *a);
    assert_memory_equal(a, c, count * sizeof *a);
    free(in);
    free(a);
    free(b);
    free(c);
}

static void takes_of_any_shortness_come_out_as_long(void **state)
{
    (void)state;
    static const size_t counts[] = {1, 2, 3, 255, 256, 4801};
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
        float *in = test_sound(counts[i]);
        add_white(in, counts[i], 0.2, 1);
        float *out = filtered(in, counts[i], 48000, 70, 64);
        for (size_t k = 0; k < counts[i]; k++)
            assert_true(isfinite(out[k]));
        free(in);
        free(out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_response_is_a_butterworth_run_both_ways),
        cmocka_unit_test(a_constant_vanishes_from_the_first_sample_on),
        cmocka_unit_test(an_offset_does_not_change_what_is_above),
        cmocka_unit_test(cuts_of_the_stream_do_not_change_a_bit),
        cmocka_unit_test(takes_of_any_shortness_come_out_as_long),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
