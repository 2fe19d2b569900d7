/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <ebur128.h>
#include <fftw3.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <string.h>

#include "bench.h"

/* 21 ms frames every 5 ms at 48 kHz: what a gate of this kind takes. */
enum { FRAME = 1024, HOP = 256, BLOCK_FRAMES = 4096, CHANNELS_MOST = 8 };

struct transform {
    float *time, *window;
    fftwf_complex *bins;
    fftwf_plan forward, inverse;
    float past[FRAME], sum[FRAME];
};

static void transform_open(struct transform *t)
{
    memset(t, 0, sizeof *t);
    t->time = fftwf_alloc_real(FRAME);
    t->window = fftwf_alloc_real(FRAME);
    t->bins = fftwf_alloc_complex(FRAME / 2 + 1);
    if (!t->time || !t->window || !t->bins)
        bench_stop("out of memory");
    t->forward = fftwf_plan_dft_r2c_1d(FRAME, t->time, t->bins, FFTW_ESTIMATE);
    t->inverse = fftwf_plan_dft_c2r_1d(FRAME, t->bins, t->time, FFTW_ESTIMATE);
    const double pi = 3.14159265358979323846;
    for (int i = 0; i < FRAME; i++) /* root Hann, twice: adds up to 2 at a quarter's hop */
        t->window[i] = (float)(sin(pi * (i + 0.5) / FRAME) / sqrt(2.0 * FRAME));
}

static void transform_close(struct transform *t)
{
    fftwf_destroy_plan(t->forward);
    fftwf_destroy_plan(t->inverse);
    fftwf_free(t->time);
    fftwf_free(t->window);
    fftwf_free(t->bins);
}

/* One hop of the first channel there and back; the samples come out in place, FRAME - HOP later. */
static void transform_hop(struct transform *t, float *samples, int channels)
{
    memmove(t->past, t->past + HOP, (FRAME - HOP) * sizeof(float));
    for (int i = 0; i < HOP; i++)
        t->past[FRAME - HOP + i] = samples[i * channels];
    for (int i = 0; i < FRAME; i++)
        t->time[i] = t->past[i] * t->window[i];
    fftwf_execute(t->forward);
    fftwf_execute(t->inverse);
    for (int i = 0; i < FRAME; i++)
        t->sum[i] += t->time[i] * t->window[i];
    for (int i = 0; i < HOP; i++)
        samples[i * channels] = t->sum[i];
    memmove(t->sum, t->sum + HOP, (FRAME - HOP) * sizeof(float));
    memset(t->sum + FRAME - HOP, 0, HOP * sizeof(float));
}

static SNDFILE *open_take(const char *path, SF_INFO *info)
{
    *info = (SF_INFO){0};
    SNDFILE *take = sf_open(path, SFM_READ, info);
    if (!take || info->channels > CHANNELS_MOST)
        bench_stop("cannot read %s", path);
    return take;
}

static void measure(const char *path, float *block)
{
    SF_INFO info;
    SNDFILE *take = open_take(path, &info);
    ebur128_state *meter =
        ebur128_init((unsigned)info.channels, (unsigned long)info.samplerate, EBUR128_MODE_I | EBUR128_MODE_TRUE_PEAK);
    if (!meter)
        bench_stop("out of memory");
    sf_count_t count;
    while ((count = sf_readf_float(take, block, BLOCK_FRAMES)) > 0)
        ebur128_add_frames_float(meter, block, (size_t)count);
    double lufs, peak;
    if (ebur128_loudness_global(meter, &lufs) != EBUR128_SUCCESS ||
        ebur128_true_peak(meter, 0, &peak) != EBUR128_SUCCESS)
        bench_stop("cannot measure %s", path);
    printf("%.2f %.2f\n", lufs, 20 * log10(peak));
    ebur128_destroy(&meter);
    sf_close(take);
}

void bench_floor(const char *path, const char *out)
{
    static float block[BLOCK_FRAMES * CHANNELS_MOST];
    measure(path, block);
    SF_INFO info;
    SNDFILE *take = open_take(path, &info);
    SF_INFO written = {
        .samplerate = info.samplerate, .channels = info.channels, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *voice = sf_open(out, SFM_WRITE, &written);
    if (!voice)
        bench_stop("cannot write %s", out);
    sf_command(voice, SFC_SET_CLIPPING, NULL, SF_TRUE);
    struct transform transform;
    transform_open(&transform);
    sf_count_t count;
    while ((count = sf_readf_float(take, block, BLOCK_FRAMES)) > 0) {
        for (sf_count_t at = 0; at + HOP <= count; at += HOP)
            transform_hop(&transform, block + at * info.channels, info.channels);
        if (sf_writef_float(voice, block, count) != count)
            bench_stop("cannot write %s", out);
    }
    transform_close(&transform);
    sf_close(take);
    if (sf_close(voice) != 0)
        bench_stop("cannot write %s", out);
}
