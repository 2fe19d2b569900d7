/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Float to whole numbers, against libm's lrintf and the known figures of triangular dither. */
#include "audio_test.h"

#include "audio/pcm.h"

static void check_24(float sample, long expected)
{
    int32_t value;
    tt_pcm_to_24(&sample, &value, 1);
    if (value != expected)
        fail_msg("%.9g became %d, not %ld", (double)sample, value, expected);
}

static void twenty_four_bits_are_rounded_to_nearest_and_clipped(void **state)
{
    (void)state;
    const float step = 1.0f / 8388608.0f;
    check_24(0.0f, 0);
    check_24(0.5f * step, 0); /* halves to even */
    check_24(1.5f * step, 2);
    check_24(-0.5f * step, 0);
    check_24(-2.5f * step, -2);
    check_24(0.75f * step, 1);
    check_24(1.0f, 8388607);
    check_24(-1.0f, -8388608);
    check_24(8388607.0f * step, 8388607);
    check_24(1000.0f, 8388607);
    check_24(-1000.0f, -8388608);
    check_24(INFINITY, 8388607);
    check_24(-INFINITY, -8388608);
    check_24(NAN, 0);
    check_24(-NAN, 0);
    check_24(1e-42f, 0);
}

static void rounding_agrees_with_lrintf_everywhere(void **state)
{
    (void)state;
    uint32_t noise = 1;
    for (int block = 0; block < 100; block++) {
        float samples[1000];
        int32_t values[1000];
        for (int i = 0; i < 1000; i++)
            samples[i] = test_noise(&noise) * powf(2.0f, (float)(block % 26 - 24));
        tt_pcm_to_24(samples, values, 1000);
        for (int i = 0; i < 1000; i++) {
            long expected = lrintf(samples[i] * 8388608.0f);
            expected = expected > 8388607 ? 8388607 : expected < -8388608 ? -8388608 : expected;
            assert_int_equal(values[i], expected);
        }
    }
}

/* Lipshitz, Wannamaker, Vanderkooy 1992 (from memory): with triangular dither of two steps the whole error has mean 0
 * and power 1/12 + 2/12 = 1/4 step squared, whatever the value between two steps. */
static void the_error_of_dither_does_not_depend_on_the_sound(void **state)
{
    (void)state;
    enum { COUNT = 200000 };
    float *samples = malloc(sizeof *samples * COUNT), *noise = malloc(sizeof *noise * COUNT);
    int32_t *values = malloc(sizeof *values * COUNT);
    uint64_t dither = TT_DITHER_START;
    static const double between[] = {0.0, 0.125, 0.25, 0.5, 0.75, -0.3};
    for (size_t k = 0; k < sizeof between / sizeof between[0]; k++) {
        for (int i = 0; i < COUNT; i++)
            samples[i] = (float)((100.0 + between[k]) / 32768.0);
        tt_pcm_to_16(samples, values, noise, COUNT, &dither);
        double mean = 0.0, power = 0.0, most = 0.0;
        for (int i = 0; i < COUNT; i++) {
            double error = values[i] - (100.0 + between[k]);
            mean += error / COUNT;
            power += error * error / COUNT;
            most = fmax(most, fabs(error));
        }
        assert_near(mean, 0.0, 0.005);
        assert_near(power, 0.25, 0.005);
        assert_true(most <= 1.5);
    }
    free(samples);
    free(noise);
    free(values);
}

static void dither_is_white(void **state)
{
    (void)state;
    enum { COUNT = 100000 };
    float *samples = calloc(COUNT, sizeof *samples), *noise = malloc(sizeof *noise * COUNT);
    int32_t *values = malloc(sizeof *values * COUNT);
    uint64_t dither = TT_DITHER_START;
    tt_pcm_to_16(samples, values, noise, COUNT, &dither);
    for (int lag = 1; lag <= 3; lag++) {
        double product = 0.0;
        for (int i = lag; i < COUNT; i++)
            product += (double)noise[i] * (double)noise[i - lag] / COUNT;
        assert_near(product * 6.0, 0.0,
                    0.015); /* a twelfth twice is the power of the dither; four standard deviations */
    }
    free(samples);
    free(noise);
    free(values);
}

static void sixteen_bits_are_clipped(void **state)
{
    (void)state;
    const float samples[4] = {1.0f, 2.0f, -2.0f, NAN};
    float noise[4];
    int32_t values[4];
    uint64_t dither = TT_DITHER_START;
    tt_pcm_to_16(samples, values, noise, 4, &dither);
    assert_int_equal(values[1], 32767);
    assert_int_equal(values[2], -32768);
    assert_int_equal(values[3], 0);
    assert_in_range(values[0], 32766, 32767);
}

static void bytes_are_little_endian_in_one_channel_or_two(void **state)
{
    (void)state;
    const int32_t values[5] = {0x123456, -2, 0x000001, -8388608, 0x7FFFFF};
    static const unsigned char one[] = {0x56, 0x34, 0x12, 0xFE, 0xFF, 0xFF, 1, 0, 0, 0, 0, 0x80, 0xFF, 0xFF, 0x7F};
    static const unsigned char two[] = {0x56, 0x34, 0x12, 0x56, 0x34, 0x12, 0xFE, 0xFF, 0xFF, 0xFE, 0xFF, 0xFF};
    static const unsigned char words[] = {0x34, 0x12, 0x34, 0x12, 0xFE, 0xFF, 0xFE, 0xFF};
    static const unsigned char floats[] = {0, 0, 0x80, 0x3F, 0, 0, 0x80, 0x3F, 0, 0, 0, 0xC0, 0, 0, 0, 0xC0};
    unsigned char bytes[64];
    tt_pcm_pack_24(values, bytes, 5, 1);
    assert_memory_equal(bytes, one, sizeof one);
    tt_pcm_pack_24(values, bytes, 2, 2);
    assert_memory_equal(bytes, two, sizeof two);
    tt_pcm_pack_16((const int32_t[]){0x1234, -2}, bytes, 2, 2);
    assert_memory_equal(bytes, words, sizeof words);
    tt_pcm_pack_float((const float[]){1.0f, -2.0f}, bytes, 2, 2);
    assert_memory_equal(bytes, floats, sizeof floats);
}

static void unpacked_samples_are_those_that_were_packed(void **state)
{
    (void)state;
    enum { COUNT = 4099 };
    static int32_t values[COUNT];
    static unsigned char bytes[3 * COUNT];
    static float samples[COUNT];
    for (size_t count = COUNT - 4; count <= COUNT; count++) { /* with every rest of a division by four */
        for (size_t i = 0; i < count; i++)
            values[i] = (int32_t)(i * 2654435761u % 16777216u) - 8388608;
        values[0] = -8388608;
        values[1] = 8388607;
        tt_pcm_pack_24(values, bytes, count, 1);
        tt_pcm_unpack_24(bytes, samples, count);
        for (size_t i = 0; i < count; i++)
            if (samples[i] * 8388608.0f != (float)values[i])
                fail_msg("%d became %.9g", values[i], (double)samples[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(twenty_four_bits_are_rounded_to_nearest_and_clipped),
        cmocka_unit_test(rounding_agrees_with_lrintf_everywhere),
        cmocka_unit_test(the_error_of_dither_does_not_depend_on_the_sound),
        cmocka_unit_test(dither_is_white),
        cmocka_unit_test(sixteen_bits_are_clipped),
        cmocka_unit_test(bytes_are_little_endian_in_one_channel_or_two),
        cmocka_unit_test(unpacked_samples_are_those_that_were_packed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
