/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/stft.h"

#include <fftw3.h>
#include <math.h>
#include <stddef.h>
#include <stdlib.h>

#include "base/lanes.h"
#include "base/large.h"
#include "base/units.h"
#include "dsp/fast_math.h"
#include "dsp/fft_lock.h"

/* 5.33 ms: 256 samples at 48 kHz; a step at which decision-directed smoothing near 0.985 leaves no musical noise. */
static const double HOPS_PER_SECOND = 187.5;
/* Periodic Hann windows a quarter of their length apart sum to this (standards: Hann 75 %, sum of w). */
static const float OVERLAP_SUM = 2.0F;

/* A real transform of N samples by a complex one of N / 2: even samples are its real parts, odd ones its imaginary
 * parts (common practice). What lies around FFTW's codelets is ours, and runs as wide as the processor can: that takes
 * half the time of FFTW's own real transforms, as FFTW_ESTIMATE plans them. */
struct tt_stft {
    struct tt_stft_shape shape;
    int half;             /* N / 2 */
    float power_scale;    /* 1 / sum of w^2 */
    bool is_apart;        /* real and imaginary parts lie apart in the transform, too; then windows have what belongs to
                             even samples first, and behind it what belongs to odd ones */
    float *window;        /* analysis, halved: the even and odd parts of a spectrum are half sums */
    float *synthesis;     /* with the scale of the inverse transform and of the overlap */
    float *cosine, *sine; /* of 2 pi k / N, k = 0..N/2 */
    float *in, *out;      /* N / 2 pairs, or, in the first, real parts and, a row later, imaginary ones */
    float *re, *im;       /* the same, apart; N / 2, and one more: the spectrum goes round */
    fftwf_plan forward, inverse;
};

/* FFTW is quick where all prime factors are small. */
static bool is_five_smooth(int number)
{
    static const int primes[] = {2, 3, 5};
    for (size_t i = 0; i < sizeof primes / sizeof *primes; i++)
        while (number % primes[i] == 0)
            number /= primes[i];
    return number == 1;
}

struct tt_stft_shape tt_stft_shape_for(int rate_hz)
{
    const double wanted = rate_hz / HOPS_PER_SECOND;
    int hop = 4;
    for (int candidate = 4; candidate < 2.0 * wanted + 8.0; candidate += 4)
        if (is_five_smooth(candidate) && fabs(candidate - wanted) < fabs(hop - wanted))
            hop = candidate;
    return (struct tt_stft_shape){
        .rate_hz = rate_hz, .window_samples = 4 * hop, .hop_samples = hop, .bin_count = 2 * hop + 1};
}

/* For 512 and 1024 FFTW takes no longer with parts apart, and nothing is left to be taken apart; for 480 it takes twice
 * as long (measured). */
static bool is_better_apart(int count) { return (count & (count - 1)) == 0; }

static void fill_tables(struct tt_stft *stft)
{
    const int count = stft->shape.window_samples;
    double energy = 0.0;
    for (int i = 0; i < count; i++) {
        const double root_hann = sin(TT_PI * i / count); /* sqrt(0.5 - 0.5 cos(2 pi i / N)) */
        const int place = stft->is_apart ? i / 2 + i % 2 * stft->half : i;
        stft->window[place] = (float)(0.5 * root_hann);
        stft->synthesis[place] = (float)(root_hann / ((double)OVERLAP_SUM * count));
        energy += root_hann * root_hann;
    }
    for (int k = 0; k <= stft->half; k++) {
        stft->cosine[k] = (float)cos(2.0 * TT_PI * k / count);
        stft->sine[k] = k == stft->half ? 0.0F : (float)sin(2.0 * TT_PI * k / count);
    }
    stft->power_scale = (float)(1.0 / energy);
}

/* From real parts to imaginary ones: N / 2 and one more, both from a line of the memory's on. FFTW plans anew for each
 * distance that it has not met, so it is the same in all. */
static size_t row_of(const struct tt_stft *stft) { return (size_t)stft->half / TT_LANES * TT_LANES + TT_LANES; }

/* The way back is the same with the parts exchanged (FFTW manual, 'Guru Complex DFTs'). */
static void plan_apart(struct tt_stft *stft)
{
    const fftwf_iodim row = {.n = stft->half, .is = 1, .os = 1};
    float *in_re = stft->in, *in_im = stft->in + row_of(stft), *re = stft->re, *im = stft->im;
    stft->forward = fftwf_plan_guru_split_dft(1, &row, 0, NULL, in_re, in_im, re, im, FFTW_ESTIMATE);
    stft->inverse = fftwf_plan_guru_split_dft(1, &row, 0, NULL, in_im, in_re, im, re, FFTW_ESTIMATE);
}

static void plan_pairs(struct tt_stft *stft)
{
    fftwf_complex *in = (fftwf_complex *)stft->in, *out = (fftwf_complex *)stft->out;
    stft->forward = fftwf_plan_dft_1d(stft->half, in, out, FFTW_FORWARD, FFTW_ESTIMATE);
    stft->inverse = fftwf_plan_dft_1d(stft->half, in, out, FFTW_BACKWARD, FFTW_ESTIMATE);
}

static void make_plans(struct tt_stft *stft)
{
    tt_fft_lock();
    if (stft->is_apart)
        plan_apart(stft);
    else
        plan_pairs(stft);
    tt_fft_unlock();
}

static float *new_row(size_t count) { return tt_alloc_lines(count * sizeof(float)); }

static bool allocate(struct tt_stft *stft)
{
    const size_t count = (size_t)stft->shape.window_samples, half = (size_t)stft->half;
    stft->window = new_row(count);
    stft->synthesis = new_row(count);
    stft->cosine = new_row(half + 1);
    stft->sine = new_row(half + 1);
    stft->in = new_row(2 * row_of(stft));
    stft->out = new_row(count);
    stft->re = new_row(2 * row_of(stft));
    stft->im = stft->re ? stft->re + row_of(stft) : NULL;
    return stft->window && stft->synthesis && stft->cosine && stft->sine && stft->in && stft->out && stft->re;
}

struct tt_stft *tt_stft_create(struct tt_stft_shape shape, struct tt_error *err)
{
    struct tt_stft *stft = calloc(1, sizeof *stft);
    if (!stft) {
        tt_fail_memory(err);
        return NULL;
    }
    stft->shape = shape;
    stft->half = shape.window_samples / 2;
    stft->is_apart = is_better_apart(stft->half);
    if (allocate(stft)) {
        fill_tables(stft);
        make_plans(stft);
    }
    if (!stft->forward || !stft->inverse) {
        tt_fail_memory(err);
        tt_stft_destroy(stft);
        return NULL;
    }
    return stft;
}

void tt_stft_destroy(struct tt_stft *stft)
{
    if (!stft)
        return;
    tt_fft_lock();
    if (stft->forward)
        fftwf_destroy_plan(stft->forward);
    if (stft->inverse)
        fftwf_destroy_plan(stft->inverse);
    tt_fft_unlock();
    free(stft->window);
    free(stft->synthesis);
    free(stft->cosine);
    free(stft->sine);
    free(stft->in);
    free(stft->out);
    free(stft->re);
    free(stft);
}

TT_WIDE static void multiply(const float *restrict a, const float *restrict b, float *restrict product, int count)
{
    for (int i = 0; i < count; i++)
        product[i] = a[i] * b[i];
}

TT_WIDE static void multiply_and_add(const float *restrict a, const float *restrict b, float *restrict sum, int count)
{
    for (int i = 0; i < count; i++)
        sum[i] += a[i] * b[i];
}

TT_WIDE static void take_apart(const float *restrict pairs, float *restrict re, float *restrict im, int count)
{
    for (int k = 0; k < count; k++) {
        re[k] = pairs[2 * k];
        im[k] = pairs[2 * k + 1];
    }
}

/* Both of these with a window on the way, its even and odd samples apart. */
TT_WIDE static void multiply_apart(const float *restrict pairs, const float *restrict even, const float *restrict odd,
                                   float *restrict re, float *restrict im, int count)
{
    for (int k = 0; k < count; k++) {
        re[k] = pairs[2 * k] * even[k];
        im[k] = pairs[2 * k + 1] * odd[k];
    }
}

TT_WIDE static void multiply_together_and_add(const float *restrict re, const float *restrict im,
                                              const float *restrict even, const float *restrict odd,
                                              float *restrict sum, int count)
{
    for (int k = 0; k < count; k++) {
        sum[2 * k] += re[k] * even[k];
        sum[2 * k + 1] += im[k] * odd[k];
    }
}

/* With Z the transform of even + i * odd and Y its mirror image Z[N/2 - k]: E = (Z + Y*) / 2 is that of the even
 * samples, O = (Z - Y*) / 2i that of the odd ones, and X = E + e^(-2 pi i k / N) O. The halves are in the window. At
 * N/2 - k the factor is -e^(2 pi i k / N): the same products, some with another sign, so that two bins that mirror each
 * other are made at once: low ones from the first on, high ones from the last one down. */
#define MIRRORED_BINS(k)                                                                                               \
    const float even_re = z_re[k] + z_re[half - (k)], even_im = z_im[k] - z_im[half - (k)];                            \
    const float odd_re = z_im[k] + z_im[half - (k)], odd_im = z_re[half - (k)] - z_re[k];                              \
    const float turned_re = cosine[k] * odd_re + sine[k] * odd_im, turned_im = cosine[k] * odd_im - sine[k] * odd_re;  \
    const float x_re = even_re + turned_re, x_im = even_im + turned_im, high_re = even_re - turned_re,                 \
                high_im = turned_im - even_im

TT_WIDE static void real_spectrum(const struct tt_stft *stft, float *restrict low_re, float *restrict low_im,
                                  float *restrict last_re, float *restrict last_im)
{
    const int half = stft->half, middle = half / 2;
    const float *restrict z_re = stft->re, *restrict z_im = stft->im, *restrict cosine = stft->cosine,
                          *restrict sine = stft->sine;
    for (int k = 0; k < middle; k++) {
        MIRRORED_BINS(k);
        low_re[k] = x_re;
        low_im[k] = x_im;
        last_re[-k] = high_re;
        last_im[-k] = high_im;
    }
    low_re[middle] = 2.0F * z_re[middle]; /* its own mirror image */
    low_im[middle] = -2.0F * z_im[middle];
}

TT_WIDE static void real_powers(const struct tt_stft *stft, float *restrict low, float *restrict last)
{
    const int half = stft->half, middle = half / 2;
    const float *restrict z_re = stft->re, *restrict z_im = stft->im, *restrict cosine = stft->cosine,
                          *restrict sine = stft->sine;
    const float scale = stft->power_scale;
    for (int k = 0; k < middle; k++) {
        MIRRORED_BINS(k);
        low[k] = (x_re * x_re + x_im * x_im) * scale;
        last[-k] = (high_re * high_re + high_im * high_im) * scale;
    }
    low[middle] = 4.0F * (z_re[middle] * z_re[middle] + z_im[middle] * z_im[middle]) * scale;
}

static void transform(struct tt_stft *stft, const float *samples)
{
    const int half = stft->half;
    if (stft->is_apart) {
        multiply_apart(samples, stft->window, stft->window + half, stft->in, stft->in + row_of(stft), half);
        fftwf_execute(stft->forward);
    } else {
        multiply(samples, stft->window, stft->in, stft->shape.window_samples);
        fftwf_execute(stft->forward);
        take_apart(stft->out, stft->re, stft->im, half);
    }
    stft->re[half] = stft->re[0];
    stft->im[half] = stft->im[0];
}

void tt_stft_forward(struct tt_stft *stft, const float *samples, float *re, float *im)
{
    transform(stft, samples);
    real_spectrum(stft, re, im, re + stft->half, im + stft->half);
}

void tt_stft_powers(struct tt_stft *stft, const float *samples, float *power)
{
    transform(stft, samples);
    real_powers(stft, power, power + stft->half);
}

/* The way back: 2 Z = (X + Y*) + i e^(2 pi i k / N) (X - Y*), and its mirror image from the same products. */
TT_WIDE static void half_spectrum(const struct tt_stft *stft, const float *restrict x_re, const float *restrict x_im,
                                  float *restrict re, float *restrict im, float *restrict last_re,
                                  float *restrict last_im)
{
    const int half = stft->half, middle = half / 2;
    const float *restrict cosine = stft->cosine, *restrict sine = stft->sine;
    for (int k = 0; k < middle; k++) {
        const float even_re = x_re[k] + x_re[half - k], even_im = x_im[k] - x_im[half - k];
        const float odd_re = x_re[k] - x_re[half - k], odd_im = x_im[k] + x_im[half - k];
        const float turned_re = cosine[k] * odd_im + sine[k] * odd_re,
                    turned_im = cosine[k] * odd_re - sine[k] * odd_im;
        re[k] = even_re - turned_re;
        im[k] = even_im + turned_im;
        last_re[-k] = even_re + turned_re;
        last_im[-k] = turned_im - even_im;
    }
    re[middle] = 2.0F * x_re[middle]; /* its own mirror image */
    im[middle] = -2.0F * x_im[middle];
}

TT_WIDE static void put_together(const float *restrict re, const float *restrict im, float *restrict pairs, int count)
{
    for (int k = 0; k < count; k++) {
        pairs[2 * k] = re[k];
        pairs[2 * k + 1] = im[k];
    }
}

void tt_stft_inverse(struct tt_stft *stft, const float *re, const float *im, float *overlap)
{
    const int half = stft->half;
    if (stft->is_apart) {
        float *in_re = stft->in, *in_im = in_re + row_of(stft);
        half_spectrum(stft, re, im, in_re, in_im, in_re + half, in_im + half);
        fftwf_execute(stft->inverse);
        multiply_together_and_add(stft->re, stft->im, stft->synthesis, stft->synthesis + half, overlap, half);
    } else {
        half_spectrum(stft, re, im, stft->re, stft->im, stft->re + half, stft->im + half);
        put_together(stft->re, stft->im, stft->in, half);
        fftwf_execute(stft->inverse);
        multiply_and_add(stft->out, stft->synthesis, overlap, stft->shape.window_samples);
    }
}
