/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio_test.h"

#include "audio/resample.h"

static const struct {
    int from_hz, to_hz;
} rates[] = {
    {44100, 48000}, {48000, 44100}, {96000, 48000}, {48000, 96000}, {192000, 44100},
    {8000, 48000},  {48000, 48000}, {22050, 96000}, {47999, 48000},
};
enum { RATE_COUNT = sizeof rates / sizeof rates[0] };

/* Everything through, in blocks; returns the samples that came out. */
static size_t resample(int from_hz, int to_hz, const float *in, size_t count, size_t block, float *out, size_t most)
{
    struct tt_error err = {0};
    struct tt_resampler *resampler = tt_resampler_create(from_hz, to_hz, &err);
    assert_ok(resampler != NULL, err);
    size_t total = 0;
    for (size_t at = 0; at < count;) {
        size_t used, n = count - at < block ? count - at : block;
        int64_t got = tt_resampler_run(resampler, in + at, n, &used, out + total, most, &err);
        assert_ok(got >= 0, err);
        assert_true(used <= n && got <= (int64_t)most);
        at += used;
        total += (size_t)got;
    }
    for (;;) {
        size_t used;
        int64_t got = tt_resampler_run(resampler, NULL, 0, &used, out + total, most, &err);
        assert_ok(got >= 0, err);
        if (got == 0)
            break;
        total += (size_t)got;
    }
    tt_resampler_destroy(resampler);
    return total;
}

static void the_length_is_exact(void **state)
{
    (void)state;
    static const size_t counts[] = {0, 1, 2, 3, 17, 1000, 44100, 99991};
    float *in = calloc(100000, sizeof *in), *out = malloc(sizeof *out * 700000);
    for (size_t r = 0; r < RATE_COUNT; r++)
        for (size_t i = 0; i < sizeof counts / sizeof counts[0]; i++) {
            double exact = (double)counts[i] * rates[r].to_hz / rates[r].from_hz;
            size_t got = resample(rates[r].from_hz, rates[r].to_hz, in, counts[i], 4096, out, 4096);
            if (got != (size_t)floor(exact + 0.5))
                fail_msg("%d to %d Hz: %zu samples became %zu, not %.1f", rates[r].from_hz, rates[r].to_hz, counts[i],
                         got, exact);
        }
    free(in);
    free(out);
}

static void blocks_do_not_change_the_samples(void **state)
{
    (void)state;
    static const struct {
        size_t in, out;
    } blocks[] = {{1, 5000}, {313, 100}, {16384, 4097}, {30000, 100000}};
    enum { COUNT = 30000 };
    uint32_t noise = 9;
    float *in = malloc(sizeof *in * COUNT), *a = malloc(sizeof *a * 300000), *b = malloc(sizeof *b * 300000);
    for (size_t i = 0; i < COUNT; i++)
        in[i] = test_noise(&noise);
    for (size_t r = 0; r < RATE_COUNT; r++) {
        size_t count = resample(rates[r].from_hz, rates[r].to_hz, in, COUNT, 16384, a, 16384);
        for (size_t k = 0; k < sizeof blocks / sizeof blocks[0]; k++) {
            assert_int_equal(resample(rates[r].from_hz, rates[r].to_hz, in, COUNT, blocks[k].in, b, blocks[k].out),
                             count);
            assert_memory_equal(a, b, sizeof *a * count);
        }
    }
    free(in);
    free(a);
    free(b);
}

/* A sine comes out as the same sine, in phase, at the other rate. 24 bits: -120 dB is 1e-6. */
static void a_sine_keeps_its_phase_and_level(void **state)
{
    (void)state;
    float *in = malloc(sizeof *in * 100000), *out = malloc(sizeof *out * 700000);
    for (size_t r = 0; r < RATE_COUNT; r++) {
        make_sine(in, 50000, 997.0, rates[r].from_hz, 0.5);
        size_t count = resample(rates[r].from_hz, rates[r].to_hz, in, 50000, 16384, out, 16384);
        for (size_t i = count / 4; i < 3 * count / 4; i++) {
            double expected = 0.5 * sin(2.0 * 3.14159265358979323846 * 997.0 * (double)i / rates[r].to_hz);
            assert_near((double)out[i], expected, 1e-6);
        }
    }
    free(in);
    free(out);
}

static void an_impulse_stays_where_it_was(void **state)
{
    (void)state;
    float *in = calloc(48000, sizeof *in), *out = malloc(sizeof *out * 300000);
    in[24000] = 1.0f;
    size_t count = resample(48000, 96000, in, 48000, 16384, out, 16384);
    size_t top = 0;
    for (size_t i = 0; i < count; i++)
        top = fabsf(out[i]) > fabsf(out[top]) ? i : top;
    assert_int_equal(top, 48000);
    for (size_t i = 1; i < 100; i++) /* linear phase: alike on both sides */
        assert_near((double)out[top + i], (double)out[top - i], 1e-6);
    free(in);
    free(out);
}

static void equal_rates_change_nothing(void **state)
{
    (void)state;
    const float in[4] = {0.1f, -1.5f, 1e-40f, 0.0f};
    float out[8];
    assert_int_equal(resample(44100, 44100, in, 4, 3, out, 2), 4);
    assert_memory_equal(in, out, sizeof in);
}

static void an_empty_block_is_not_the_end(void **state)
{
    (void)state;
    struct tt_error err = {0};
    float in[1000] = {0}, out[4096];
    size_t used;
    struct tt_resampler *resampler = tt_resampler_create(44100, 48000, &err);
    assert_true(tt_resampler_run(resampler, in, 0, &used, out, 4096, &err) == 0);
    assert_true(tt_resampler_run(resampler, in, 1000, &used, out, 4096, &err) >= 0);
    assert_int_equal(used, 1000);
    assert_true(tt_resampler_run(resampler, NULL, 0, &used, out, 4096, &err) > 0);
    assert_true(tt_resampler_run(resampler, in, 10, &used, out, 4096, &err) < 0);
    assert_int_equal(err.kind, TT_ERROR_INTERNAL);
    tt_resampler_destroy(resampler);
    tt_resampler_destroy(NULL);
}

static void a_rate_of_zero_is_an_error(void **state)
{
    (void)state;
    struct tt_error err = {0};
    assert_null(tt_resampler_create(0, 48000, &err));
    assert_int_equal(err.kind, TT_ERROR_INTERNAL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_length_is_exact),
        cmocka_unit_test(blocks_do_not_change_the_samples),
        cmocka_unit_test(a_sine_keeps_its_phase_and_level),
        cmocka_unit_test(an_impulse_stays_where_it_was),
        cmocka_unit_test(equal_rates_change_nothing),
        cmocka_unit_test(an_empty_block_is_not_the_end),
        cmocka_unit_test(a_rate_of_zero_is_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
