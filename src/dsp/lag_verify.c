/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Normalized cross-correlation of waveforms around the places that envelopes proposed. */
#include <fftw3.h>
#include <math.h>
#include <string.h>

#include "dsp/fft_lock.h"
#include "dsp/lag_parts.h"

enum { REACH = 2 * LAG_FRAME }; /* samples around a proposal: envelopes are good to a frame */
/* Of 6 s: another reading of a line by the same voice stays under 0.1, another microphone's own is over 0.3. Chance
 * grows as blocks shrink. */
static const double least_likeness = 0.25, least_likeness_short = 0.35;
enum { SHORT_FRAMES = 300 };
/* A band around 1 kHz: rumble and the lowest tones say little of the moment, and the highest come apart within a block
 * when a clock drifts. */
static const float band[3] = {1, 0.1f, -0.9f};

struct verifier {
    size_t length, size;
    double least;
    float *first, *second;
    fftwf_complex *a, *b;
    fftwf_plan forward, inverse;
};

static void fill(float *out, size_t size, const struct tt_lag_sound *sound, int64_t start, size_t count)
{
    memset(out, 0, size * sizeof *out);
    for (size_t i = 0; i < count; i++) {
        int64_t at = start + (int64_t)i;
        if (at < 2 || at >= (int64_t)sound->count)
            continue;
        out[i] = band[0] * sound->samples[at] + band[1] * sound->samples[at - 1] + band[2] * sound->samples[at - 2];
    }
}

/* Where between two samples the peak lies: the top of a parabola through three. */
static double top_of(double left, double middle, double right)
{
    double bend = left - 2 * middle + right;
    return fabs(bend) > 1e-12 ? fmax(-0.5, fmin(0.5, 0.5 * (left - right) / bend)) : 0;
}

static void verify(struct verifier *v, const struct tt_lag_sound *before, const struct tt_lag_sound *after,
                   size_t frame, struct lag_candidate *candidate)
{
    const int64_t own = (int64_t)(frame * LAG_FRAME), there = (int64_t)(candidate->frame * LAG_FRAME);
    double energy = 0, other = 0, best = 0;
    int place = -1;
    fill(v->first, v->size, before, there - REACH, v->length + 2 * REACH);
    fill(v->second, v->size, after, own, v->length);
    for (size_t i = 0; i < v->length; i++)
        energy += (double)v->second[i] * (double)v->second[i], other += (double)v->first[i] * (double)v->first[i];
    double norms[2 * REACH + 1];
    for (int k = 0; k <= 2 * REACH; k++) {
        norms[k] = sqrt(energy * fmax(other, 0)) + 1e-9;
        double gone = (double)v->first[k], next = (double)v->first[v->length + (size_t)k];
        other += next * next - gone * gone;
    }
    fftwf_execute_dft_r2c(v->forward, v->first, v->a);
    fftwf_execute_dft_r2c(v->forward, v->second, v->b);
    for (size_t k = 0; k <= v->size / 2; k++) {
        float re = v->a[k][0] * v->b[k][0] + v->a[k][1] * v->b[k][1],
              im = v->a[k][1] * v->b[k][0] - v->a[k][0] * v->b[k][1];
        v->a[k][0] = re, v->a[k][1] = im;
    }
    fftwf_execute_dft_c2r(v->inverse, v->a, v->first);
    for (int k = 0; k <= 2 * REACH; k++) {
        double likeness = fabs((double)v->first[k]) / (double)v->size / norms[k];
        if (likeness > best)
            best = likeness, place = k;
    }
    candidate->likeness = place > 0 && place < 2 * REACH && best >= v->least ? best : 0;
    if (candidate->likeness == 0)
        return;
    candidate->is_turned = v->first[place] < 0;
    candidate->lag =
        (double)(there - own) + place - REACH +
        top_of(fabs((double)v->first[place - 1]), fabs((double)v->first[place]), fabs((double)v->first[place + 1]));
}

bool lag_verify(const struct tt_lag_sound *before, const struct tt_lag_sound *after, size_t length,
                struct lag_block *blocks, size_t count)
{
    struct verifier v = {.length = length * LAG_FRAME,
                         .size = 1024,
                         .least = length < SHORT_FRAMES ? least_likeness_short : least_likeness};
    while (v.size < v.length + 2 * REACH + 1)
        v.size *= 2;
    v.first = fftwf_alloc_real(v.size);
    v.second = fftwf_alloc_real(v.size);
    v.a = fftwf_alloc_complex(v.size / 2 + 1);
    v.b = fftwf_alloc_complex(v.size / 2 + 1);
    bool ok = v.first && v.second && v.a && v.b;
    if (ok) {
        tt_fft_lock();
        v.forward = fftwf_plan_dft_r2c_1d((int)v.size, v.first, v.a, FFTW_ESTIMATE);
        v.inverse = fftwf_plan_dft_c2r_1d((int)v.size, v.a, v.first, FFTW_ESTIMATE);
        tt_fft_unlock();
        ok = v.forward && v.inverse;
    }
    for (size_t i = 0; ok && i < count; i++)
        for (int k = 0; k < blocks[i].count; k++)
            verify(&v, before, after, blocks[i].frame, &blocks[i].candidates[k]);
    tt_fft_lock();
    if (v.forward)
        fftwf_destroy_plan(v.forward);
    if (v.inverse)
        fftwf_destroy_plan(v.inverse);
    tt_fft_unlock();
    fftwf_free(v.first);
    fftwf_free(v.second);
    fftwf_free(v.a);
    fftwf_free(v.b);
    return ok;
}
