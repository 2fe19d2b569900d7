/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/stft.h"

#include <fftw3.h>
#include <math.h>
#include <pthread.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/fast_math.h"
#include "dsp/fft_lock.h"

#define PI 3.14159265358979323846
/* 5.33 ms: 256 samples at 48 kHz; a step at which decision-directed smoothing near 0.985 leaves no musical noise. */
static const double HOPS_PER_SECOND = 187.5;
/* Periodic Hann windows a quarter of their length apart sum to this (standards: Hann 75 %, sum of w). */
static const float OVERLAP_SUM = 2.0F;

struct tt_stft {
    struct tt_stft_shape shape;
    float power_scale;         /* 1 / sum of w^2 */
    float *window;             /* analysis */
    float *synthesis;          /* with the scale of the inverse transform and of the overlap */
    float *block;              /* aligned time samples */
    fftwf_complex *spectrum;   /* aligned bins, for callers whose arrays are not */
    fftwf_plan forward, inverse;
};

static pthread_mutex_t planner_lock = PTHREAD_MUTEX_INITIALIZER;

void tt_fft_lock(void) { pthread_mutex_lock(&planner_lock); }
void tt_fft_unlock(void) { pthread_mutex_unlock(&planner_lock); }

/* FFTW is quick where all prime factors are small. */
static bool is_five_smooth(int number)
{
    static const int primes[] = {2, 3, 5};
    for (size_t i = 0; i < sizeof primes / sizeof *primes; i++)
        while (number % primes[i] == 0) number /= primes[i];
    return number == 1;
}

struct tt_stft_shape tt_stft_shape_for(int rate_hz)
{
    const double wanted = rate_hz / HOPS_PER_SECOND;
    int hop = 4;
    for (int candidate = 4; candidate < 2.0 * wanted + 8.0; candidate += 4)
        if (is_five_smooth(candidate) && fabs(candidate - wanted) < fabs(hop - wanted)) hop = candidate;
    return (struct tt_stft_shape){.rate_hz = rate_hz, .window_samples = 4 * hop, .hop_samples = hop, .bin_count = 2 * hop + 1};
}

static void fill_windows(struct tt_stft *stft)
{
    const int count = stft->shape.window_samples;
    double energy = 0.0;
    for (int i = 0; i < count; i++) {
        const double root_hann = sin(PI * i / count); /* sqrt(0.5 - 0.5 cos(2 pi i / N)) */
        stft->window[i] = (float)root_hann;
        stft->synthesis[i] = (float)(root_hann / ((double)OVERLAP_SUM * count));
        energy += root_hann * root_hann;
    }
    stft->power_scale = (float)(1.0 / energy);
}

static void make_plans(struct tt_stft *stft)
{
    tt_fft_lock();
    stft->forward = fftwf_plan_dft_r2c_1d(stft->shape.window_samples, stft->block, stft->spectrum, FFTW_ESTIMATE | FFTW_DESTROY_INPUT);
    stft->inverse = fftwf_plan_dft_c2r_1d(stft->shape.window_samples, stft->spectrum, stft->block, FFTW_ESTIMATE | FFTW_DESTROY_INPUT);
    tt_fft_unlock();
}

struct tt_stft *tt_stft_create(struct tt_stft_shape shape, struct tt_error *err)
{
    struct tt_stft *stft = calloc(1, sizeof *stft);
    if (!stft) {
        tt_fail_memory(err);
        return NULL;
    }
    const size_t count = (size_t)shape.window_samples;
    stft->shape = shape;
    stft->window = fftwf_alloc_real(count);
    stft->synthesis = fftwf_alloc_real(count);
    stft->block = fftwf_alloc_real(count);
    stft->spectrum = fftwf_alloc_complex((size_t)shape.bin_count);
    if (stft->window && stft->synthesis && stft->block && stft->spectrum) {
        fill_windows(stft);
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
    if (!stft) return;
    tt_fft_lock();
    if (stft->forward) fftwf_destroy_plan(stft->forward);
    if (stft->inverse) fftwf_destroy_plan(stft->inverse);
    tt_fft_unlock();
    fftwf_free(stft->window);
    fftwf_free(stft->synthesis);
    fftwf_free(stft->block);
    fftwf_free(stft->spectrum);
    free(stft);
}

struct tt_stft_shape tt_stft_shape_of(const struct tt_stft *stft) { return stft->shape; }

/* A plan may run on other arrays only when they are aligned as those it was made for. */
static bool is_aligned_as_planned(const struct tt_stft *stft, float *spectrum)
{
    return fftwf_alignment_of(spectrum) == fftwf_alignment_of((float *)stft->spectrum);
}

TT_WIDE static void multiply(const float *a, const float *b, float *product, int count)
{
    for (int i = 0; i < count; i++) product[i] = a[i] * b[i];
}

TT_WIDE static void multiply_and_add(const float *a, const float *b, float *sum, int count)
{
    for (int i = 0; i < count; i++) sum[i] += a[i] * b[i];
}

void tt_stft_forward(struct tt_stft *stft, const float *samples, float *spectrum)
{
    float *block = stft->block;
    multiply(samples, stft->window, block, stft->shape.window_samples);
    if (is_aligned_as_planned(stft, spectrum)) {
        fftwf_execute_dft_r2c(stft->forward, block, (fftwf_complex *)spectrum);
    } else {
        fftwf_execute(stft->forward);
        memcpy(spectrum, stft->spectrum, (size_t)stft->shape.bin_count * sizeof(fftwf_complex));
    }
}

void tt_stft_inverse(struct tt_stft *stft, float *spectrum, float *overlap)
{
    if (is_aligned_as_planned(stft, spectrum)) {
        fftwf_execute_dft_c2r(stft->inverse, (fftwf_complex *)spectrum, stft->block);
    } else {
        memcpy(stft->spectrum, spectrum, (size_t)stft->shape.bin_count * sizeof(fftwf_complex));
        fftwf_execute(stft->inverse);
    }
    multiply_and_add(stft->block, stft->synthesis, overlap, stft->shape.window_samples);
}

TT_WIDE void tt_stft_power(const struct tt_stft *stft, const float *spectrum, float *power)
{
    const int count = stft->shape.bin_count;
    const float scale = stft->power_scale;
    for (int i = 0; i < count; i++)
        power[i] = (spectrum[2 * i] * spectrum[2 * i] + spectrum[2 * i + 1] * spectrum[2 * i + 1]) * scale;
}
