/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "noise_sounds.h"
#include "dsp/fft_512.h"

#include <fftw3.h>

static void expect_near(const float *re, const float *im, fftwf_complex *reference, double most)
{
    for (int k = 0; k < TT_FFT_512; k++) {
        assert_within((double)re[k], (double)reference[k][0], most, most);
        assert_within((double)im[k], (double)reference[k][1], most, most);
    }
}

/* The reference is FFTW's transform of the same numbers. */
static void it_is_fftws_transform_of_512_there_and_back(void **state)
{
    (void)state;
    enum { N = TT_FFT_512 };
    float *in = test_sound(2 * N), *room = test_sound(2 * N), *out = test_sound(2 * N);
    fftwf_complex *points = fftwf_alloc_complex(N), *reference = fftwf_alloc_complex(N);
    fftwf_plan there = fftwf_plan_dft_1d(N, points, reference, FFTW_FORWARD, FFTW_ESTIMATE);
    fftwf_plan back = fftwf_plan_dft_1d(N, points, reference, FFTW_BACKWARD, FFTW_ESTIMATE);
    add_white(in, 2 * N, 1.0, 11);
    for (int i = 0; i < N; i++) {
        points[i][0] = in[i];
        points[i][1] = in[N + i];
    }
    const double most = 1e-6 * sqrt(2.0 * N); /* of the root mean square of the bins */
    fftwf_execute(there);
    tt_fft_512(in, in + N, room, out, out + N);
    expect_near(out, out + N, reference, most);
    fftwf_execute(back);
    tt_fft_512(in + N, in, room, out + N, out);
    expect_near(out, out + N, reference, most);
    fftwf_destroy_plan(there);
    fftwf_destroy_plan(back);
    fftwf_free(points);
    fftwf_free(reference);
    free(in);
    free(room);
    free(out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(it_is_fftws_transform_of_512_there_and_back)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
