/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "dsp/cepstra.h"

static const double pi = 3.14159265358979323846;

static struct tt_stft_shape shape_48k(void) { return (struct tt_stft_shape){48000, 1024, 256, 513}; }
static struct tt_stft_shape shape_16k(void) { return (struct tt_stft_shape){16000, 340, 85, 171}; }
static struct tt_stft_shape shape_8k(void) { return (struct tt_stft_shape){8000, 168, 42, 85}; }

static struct tt_cepstra *create(struct tt_stft_shape shape)
{
    struct tt_error err = {0};
    struct tt_cepstra *cepstra = tt_cepstra_create(shape, &err);
    if (!cepstra)
        fail_msg("%s", err.message);
    return cepstra;
}

/* Check values: the mel scale as in the HTK book, 26 centres between 0 and 8 kHz, computed in double precision
 * elsewhere. */
static void mel_centres_match_the_published_scale(void **state)
{
    (void)state;
    static const double centre_hz[] = {68.5, 143.7, 226.2, 316.8, 416.3, 525.5};
    for (int b = 0; b < 6; b++)
        assert_true(fabs(tt_mel_centre_hz(0.0, 8000.0, b, 26) - centre_hz[b]) < 0.06);
    assert_true(fabs(tt_mel_centre_hz(0.0, 8000.0, 23, 26) - 5875.3) < 0.06);
    assert_true(fabs(tt_mel_centre_hz(0.0, 8000.0, 24, 26) - 6518.6) < 0.06);
    assert_true(fabs(tt_mel_centre_hz(0.0, 8000.0, 25, 26) - 7224.7) < 0.06);
}

/* A log spectrum that is a cosine over the mel scale holds one coefficient: c_n = A sqrt(26 / 2) by the definition of
 * the orthonormal DCT-II. */
static void a_cosine_over_mel_is_one_coefficient(void **state)
{
    (void)state;
    struct tt_stft_shape shape = shape_48k();
    struct tt_cepstra *cepstra = create(shape);
    float power[513];
    const double low = 2595.0 * log10(1.0 + 80.0 / 700.0), high = 2595.0 * log10(1.0 + 7000.0 / 700.0);
    for (int n = 1; n <= 3; n++) {
        for (int k = 0; k < shape.bin_count; k++) {
            double mel = 2595.0 * log10(1.0 + k * 46.875 / 700.0), band = 27.0 * (mel - low) / (high - low) - 1.0;
            power[k] = (float)exp(1.5 * cos(pi * n * (band + 0.5) / 26.0));
        }
        int8_t row[TT_CEPSTRA];
        tt_cepstra_of(cepstra, power, row);
        for (int c = 0; c < TT_CEPSTRA; c++) {
            double value = row[c] * (double)tt_cepstra_step, expected = c + 1 == n ? 1.5 * sqrt(13.0) : 0.0;
            assert_true(fabs(value - expected) <
                        0.4); /* triangles smooth the cosine a little, bins are coarse at 80 Hz */
        }
    }
    tt_cepstra_destroy(cepstra);
}

static void level_does_not_matter(void **state)
{
    (void)state;
    struct tt_cepstra *cepstra = create(shape_48k());
    float power[513], louder[513];
    for (int k = 0; k < 513; k++) {
        power[k] = (float)(1e-6 * exp(2.0 * sin(0.05 * k)));
        louder[k] = power[k] * 1000.0f;
    }
    int8_t a[TT_CEPSTRA], b[TT_CEPSTRA];
    tt_cepstra_of(cepstra, power, a);
    tt_cepstra_of(cepstra, louder, b);
    for (int c = 0; c < TT_CEPSTRA; c++)
        assert_in_range(a[c] - b[c] + 1, 0, 2);
    tt_cepstra_destroy(cepstra);
}

/* The same spectrum over frequency heard at 48 kHz and at 16 kHz: the same sound. */
static void the_sample_rate_does_not_matter(void **state)
{
    (void)state;
    int8_t rows[2][TT_CEPSTRA];
    for (int r = 0; r < 2; r++) {
        struct tt_stft_shape shape = r ? shape_16k() : shape_48k();
        struct tt_cepstra *cepstra = create(shape);
        float power[513];
        for (int k = 0; k < shape.bin_count; k++)
            power[k] = (float)exp(2.0 * cos(2.0 * pi * k * (double)shape.rate_hz / shape.window_samples / 3000.0)) *
                       (float)(r ? 3 : 1);
        tt_cepstra_of(cepstra, power, rows[r]);
        tt_cepstra_destroy(cepstra);
    }
    for (int c = 0; c < TT_CEPSTRA; c++)
        assert_true(abs(rows[0][c] - rows[1][c]) <= 2);
}

static void silence_and_broken_numbers_give_finite_rows(void **state)
{
    (void)state;
    struct tt_cepstra *cepstra = create(shape_8k());
    float power[85] = {0};
    int8_t row[TT_CEPSTRA];
    tt_cepstra_of(cepstra, power, row);
    for (int c = 0; c < TT_CEPSTRA; c++)
        assert_int_equal(row[c], 0); /* a flat spectrum has no shape */
    power[10] = (float)NAN;
    power[40] = INFINITY;
    tt_cepstra_of(cepstra, power, row);
    tt_cepstra_destroy(cepstra);
}

/* Level and shape make the root mean square over the bands: a cosine of amplitude A differs from a flat spectrum by A /
 * sqrt(2), and levels add to it as squares do. */
static void what_two_moments_differ_by_is_the_mean_square_over_the_bands(void **state)
{
    (void)state;
    struct tt_cepstra *cepstra = create(shape_48k());
    const double low = 2595.0 * log10(1.0 + 80.0 / 700.0), high = 2595.0 * log10(1.0 + 7000.0 / 700.0);
    float flat[513], wavy[513];
    for (int k = 0; k < 513; k++) {
        double mel = 2595.0 * log10(1.0 + k * 46.875 / 700.0), band = 27.0 * (mel - low) / (high - low) - 1.0;
        flat[k] = 1e-6F;
        wavy[k] = (float)(1e-5 * exp(1.5 * cos(pi * 2.0 * (band + 0.5) / 26.0)));
    }
    int8_t a[TT_CEPSTRA], b[TT_CEPSTRA];
    const int8_t a_db = tt_cepstra_of(cepstra, flat, a), b_db = tt_cepstra_of(cepstra, wavy, b);
    assert_int_equal(a_db, -60);
    assert_int_equal(b_db, -50);
    const double shape_db = 1.5 * 10.0 / log(10.0) / sqrt(2.0);
    assert_true(tt_cepstra_apart_db(a, a_db, a, a_db) == 0.0F);
    assert_true(tt_cepstra_apart_db(a, a_db, a, (int8_t)(a_db - 7)) == 7.0F);
    assert_true(fabs((double)tt_cepstra_apart_db(a, a_db, b, a_db) - shape_db) < 0.3);
    assert_true(fabs((double)tt_cepstra_apart_db(a, a_db, b, b_db) - hypot(10.0, shape_db)) < 0.3);
    tt_cepstra_destroy(cepstra);
}

static void a_shape_without_a_rate_is_refused(void **state)
{
    (void)state;
    struct tt_error err = {0};
    assert_null(tt_cepstra_create((struct tt_stft_shape){0}, &err));
    assert_int_equal(err.kind, TT_ERROR_INTERNAL);
    tt_cepstra_destroy(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(mel_centres_match_the_published_scale),
        cmocka_unit_test(a_cosine_over_mel_is_one_coefficient),
        cmocka_unit_test(level_does_not_matter),
        cmocka_unit_test(the_sample_rate_does_not_matter),
        cmocka_unit_test(silence_and_broken_numbers_give_finite_rows),
        cmocka_unit_test(what_two_moments_differ_by_is_the_mean_square_over_the_bands),
        cmocka_unit_test(a_shape_without_a_rate_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
