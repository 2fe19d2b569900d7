/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "noise_sounds.h"
#include "dsp/stft.h"

#include <fftw3.h>

#include "dsp/fast_math.h"
#include "base/lanes.h"
#include "dsp/fft_lock.h"

static void the_shape_is_a_5_ms_hop_that_fftw_is_quick_with(void **state)
{
    static const int rates[][2] = {{8000, 40},   {16000, 80},  {22050, 120}, {32000, 180},
                                   {44100, 240}, {48000, 256}, {96000, 512}, {192000, 1024}};
    (void)state;
    for (size_t i = 0; i < sizeof rates / sizeof *rates; i++) {
        const struct tt_stft_shape shape = tt_stft_shape_for(rates[i][0]);
        assert_int_equal(shape.hop_samples, rates[i][1]);
        assert_int_equal(shape.window_samples, 4 * rates[i][1]);
        assert_int_equal(shape.bin_count, 2 * rates[i][1] + 1);
    }
}

/* Hann windows (root Hann twice) a quarter apart sum to 2 exactly: standards and handbooks on overlap-add. */
static void forward_and_inverse_give_the_input_back(void **state)
{
    (void)state;
    static const int rates[] = {16000, 44100, 48000};
    for (size_t r = 0; r < 3; r++) {
        struct tt_error err = {0};
        const struct tt_stft_shape shape = tt_stft_shape_for(rates[r]);
        struct tt_stft *stft = tt_stft_create(shape, &err);
        const size_t hop = (size_t)shape.hop_samples, window = (size_t)shape.window_samples, count = 40 * hop;
        float *in = test_sound(count), *out = test_sound(count);
        float *spectrum = test_sound(2 * (size_t)shape.bin_count + 1);
        add_white(in, count, 0.3, 7);
        for (size_t at = 0; at + window <= count; at += hop) {
            float *part = spectrum + (at / hop) % 2; /* also where the bins are not aligned */
            tt_stft_forward(stft, in + at, part, part + shape.bin_count);
            tt_stft_inverse(stft, part, part + shape.bin_count, out + at);
        }
        for (size_t i = window; i < count - window; i++)
            assert_within((double)out[i], (double)in[i], 1e-6, 1e-6);
        free(in);
        free(out);
        free(spectrum);
        tt_stft_destroy(stft);
    }
}

/* The reference is FFTW's own transform of real samples, of the same windowed frame. */
static void spectra_are_those_of_a_transform_of_real_samples(void **state)
{
    (void)state;
    static const int rates[] = {8000, 22050, 44100, 48000, 96000};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        struct tt_error err = {0};
        const struct tt_stft_shape shape = tt_stft_shape_for(rates[r]);
        const size_t window = (size_t)shape.window_samples, bins = (size_t)shape.bin_count;
        struct tt_stft *stft = tt_stft_create(shape, &err);
        float *in = test_sound(window), *spectrum = test_sound(2 * bins), *power = test_sound(bins),
              *block = fftwf_alloc_real(window);
        fftwf_complex *reference = fftwf_alloc_complex(bins);
        fftwf_plan plan = fftwf_plan_dft_r2c_1d((int)window, block, reference, FFTW_ESTIMATE);
        add_white(in, window, 0.3, 5);
        double sum = 0;
        for (size_t i = 0; i < window; i++) {
            block[i] = (float)((double)in[i] * sin(TEST_PI * (double)i / (double)window));
            sum += (double)block[i] * (double)block[i];
        }
        tt_stft_forward(stft, in, spectrum, spectrum + bins);
        tt_stft_powers(stft, in, power);
        fftwf_execute(plan);
        const double most = 1e-6 * sqrt(sum); /* of the root mean square of the bins */
        for (size_t k = 0; k < bins; k++) {
            assert_within((double)spectrum[k], (double)reference[k][0], most, most);
            assert_within((double)spectrum[bins + k], (double)reference[k][1], most, most);
            const double square =
                (double)spectrum[k] * (double)spectrum[k] + (double)spectrum[bins + k] * (double)spectrum[bins + k];
            assert_within((double)power[k], 2 * square / (double)window, 1e-6 * square, 1e-6 * square);
        }
        assert_true(spectrum[bins] == 0.0f && spectrum[2 * bins - 1] == 0.0f);
        fftwf_destroy_plan(plan);
        fftwf_free(reference);
        fftwf_free(block);
        free(in);
        free(spectrum);
        free(power);
        tt_stft_destroy(stft);
    }
}

/* With FFTW_WISDOM_ONLY there is no plan for what FFTW would have to estimate (FFTW manual, 'Planner Flags'). */
static void expect_known_plan(int size, int direction)
{
    fftwf_complex *in = fftwf_alloc_complex((size_t)size), *out = fftwf_alloc_complex((size_t)size);
    fftwf_plan plan = fftwf_plan_dft_1d(size, in, out, direction, FFTW_WISDOM_ONLY | FFTW_ESTIMATE);
    assert_non_null(plan);
    fftwf_destroy_plan(plan);
    fftwf_free(in);
    fftwf_free(out);
}

static void expect_known_plan_apart(int size)
{
    const fftwf_iodim row = {.n = size, .is = 1, .os = 1};
    const size_t apart = (size_t)(size / TT_LANES * TT_LANES + TT_LANES);
    float *in = fftwf_alloc_real(2 * apart), *out = fftwf_alloc_real(2 * apart);
    for (int back = 0; back <= 1; back++) {
        const size_t re = back ? apart : 0, im = apart - re;
        fftwf_plan plan = fftwf_plan_guru_split_dft(1, &row, 0, NULL, in + re, in + im, out + re, out + im,
                                                    FFTW_WISDOM_ONLY | FFTW_ESTIMATE);
        assert_non_null(plan);
        fftwf_destroy_plan(plan);
    }
    fftwf_free(in);
    fftwf_free(out);
}

/* The transform that looks for hum at 44.1, 48 and 96 kHz (dsp/hum_finder.c). */
static void expect_known_plan_of_hum(void)
{
    enum { HUM = 32768 };
    float *in = fftwf_alloc_real(HUM);
    fftwf_complex *out = fftwf_alloc_complex(HUM / 2 + 1);
    fftwf_plan plan = fftwf_plan_dft_r2c_1d(HUM, in, out, FFTW_WISDOM_ONLY | FFTW_ESTIMATE);
    assert_non_null(plan);
    fftwf_destroy_plan(plan);
    fftwf_free(in);
    fftwf_free(out);
}

static void rates_of_which_fftw_estimates_badly_have_known_plans(void **state)
{
    (void)state;
#ifdef __x86_64__
    if (strcmp(fftwf_version, "fftw-3.3.10-sse2-avx") == 0 && __builtin_cpu_supports("avx")) {
        static const int rates[] = {22050, 44100, 88200};
        tt_fft_lock(); /* tells them */
        tt_fft_unlock();
        for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
            const int size = tt_stft_shape_for(rates[r]).window_samples / 2;
            expect_known_plan(size, FFTW_FORWARD);
            expect_known_plan(size, FFTW_BACKWARD);
        }
        expect_known_plan_apart(tt_stft_shape_for(48000).window_samples / 2);
        expect_known_plan_apart(tt_stft_shape_for(96000).window_samples / 2);
        expect_known_plan_of_hum();
        return;
    }
#endif
    skip(); /* these plans are of codelets that this FFTW lacks */
}

static void white_noise_reads_its_power_in_every_bin(void **state)
{
    (void)state;
    struct tt_error err = {0};
    const struct tt_stft_shape shape = tt_stft_shape_for(48000);
    struct tt_stft *stft = tt_stft_create(shape, &err);
    const size_t bins = (size_t)shape.bin_count, frames = 800;
    float *in = test_sound(frames * 512 + 1024), *power = test_sound(bins);
    double sum = 0;
    add_white(in, frames * 512 + 1024, 0.1, 3);
    for (size_t f = 0; f < frames; f++) {
        tt_stft_powers(stft, in + f * 512, power);
        for (size_t i = 1; i + 1 < bins; i++)
            sum += (double)power[i];
    }
    assert_within(10 * log10(sum / (double)(frames * (bins - 2))), -20.0, 0.05, 0.05);
    free(in);
    free(power);
    tt_stft_destroy(stft);
}

static void fast_functions_keep_their_stated_errors(void **state)
{
    (void)state;
    for (double x = 1e-14; x < 1e8; x *= 1.0137) {
        assert_within((double)tt_fast_log2((float)x), log2((double)(float)x), 6e-6, 6e-6);
        assert_within((double)tt_fast_sqrt((float)x) / sqrt((double)(float)x), 1.0, 1e-5, 1e-5);
    }
    for (double x = -60; x < 60; x += 0.0173)
        assert_within((double)tt_fast_exp2((float)x) / exp2((double)(float)x), 1.0, 1e-6, 1e-6);
    assert_true(tt_fast_sqrt(0.0f) == 0.0f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_shape_is_a_5_ms_hop_that_fftw_is_quick_with),
        cmocka_unit_test(forward_and_inverse_give_the_input_back),
        cmocka_unit_test(spectra_are_those_of_a_transform_of_real_samples),
        cmocka_unit_test(rates_of_which_fftw_estimates_badly_have_known_plans),
        cmocka_unit_test(white_noise_reads_its_power_in_every_bin),
        cmocka_unit_test(fast_functions_keep_their_stated_errors),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
