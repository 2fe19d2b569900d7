/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two steps. Envelopes, which survive cleaning and another microphone, propose where each block of the second sound may
 * lie: normalized cross-correlation with the whole of the first, by FFT in blocks (overlap-save). Waveforms then
 * decide: only the same performance is alike in them. A path through what they found, forward in both sounds, gives the
 * pieces. */
#include "dsp/lag.h"

#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/fft_lock.h"
#include "dsp/lag_parts.h"

/* ---- envelopes ---- */

static int by_value(const void *a, const void *b)
{
    float left = *(const float *)a, right = *(const float *)b;
    return (left > right) - (left < right);
}

/* Log energies, held up where the room is: what is cleaned there is to look alike. */
static bool take_logs(float *energy, size_t count, float *sorted)
{
    memcpy(sorted, energy, count * sizeof *energy);
    qsort(sorted, count, sizeof *sorted, by_value);
    float top = sorted[count - 1 - count / 50], least = fmaxf(4 * sorted[count / 10], top * 1e-4f);
    if (!(top > 0))
        return false;
    for (size_t i = 0; i < count; i++)
        energy[i] = 10 * log10f(fmaxf(energy[i], least) / least);
    return true;
}

bool lag_envelope_make(const struct tt_lag_sound *sound, struct lag_envelope *envelope)
{
    size_t frames = sound->count / LAG_FRAME;
    *envelope = (struct lag_envelope){.frames = frames};
    float *sorted = malloc((frames + 1) * sizeof *sorted);
    bool ok = sorted != NULL;
    for (int f = 0; f < LAG_FEATURES; f++)
        ok = (envelope->values[f] = calloc(frames + 1, sizeof(float))) && ok;
    for (size_t i = 0; ok && i < frames; i++) {
        float last = i > 0 ? sound->samples[i * LAG_FRAME - 1] : 0;
        for (size_t k = 0; k < LAG_FRAME; k++) {
            float now = sound->samples[i * LAG_FRAME + k], step = now - last;
            envelope->values[0][i] += now * now;
            envelope->values[1][i] += step * step; /* the upper end of the band */
            last = now;
        }
    }
    for (int f = 0; ok && frames > 0 && f < LAG_FEATURES; f++)
        envelope->is_silent = !take_logs(envelope->values[f], frames, sorted) || envelope->is_silent;
    free(sorted);
    return ok;
}

void lag_envelope_free(struct lag_envelope *envelope)
{
    for (int f = 0; f < LAG_FEATURES; f++)
        free(envelope->values[f]);
}

/* ---- candidates ---- */

enum { SPAN = 4096 }; /* frames a transform */
static const double least_envelope =
    0.5; /* correlation of envelopes under which a place is not looked at: other lines of one voice reach 0.3 to 0.5 */
static const double least_swing_db = 4; /* standard deviation of a block that holds speech; room tone has one or two */

struct search {
    const struct lag_envelope *before, *after;
    size_t length;           /* frames a block */
    size_t step, span_count; /* of the spans of the first sound */
    fftwf_complex *spectra, *block, *product;
    float *time;
    fftwf_plan forward, inverse;
    double *swing; /* energy of a block's frames around their mean, at each place in the first sound */
};

static void search_close(struct search *search)
{
    tt_fft_lock();
    if (search->forward)
        fftwf_destroy_plan(search->forward);
    if (search->inverse)
        fftwf_destroy_plan(search->inverse);
    tt_fft_unlock();
    fftwf_free(search->spectra);
    fftwf_free(search->block);
    fftwf_free(search->product);
    fftwf_free(search->time);
    free(search->swing);
}

enum { BINS = SPAN / 2 + 1 };

static void transform(struct search *search, const float *values, size_t count, double mean, fftwf_complex *out)
{
    for (size_t i = 0; i < SPAN; i++)
        search->time[i] = i < count ? values[i] - (float)mean : 0;
    fftwf_execute_dft_r2c(search->forward, search->time, out);
}

/* One running sum ahead of a block and one behind it: both arrays would take as much again as all else. */
static void add_swings(const float *values, size_t frames, size_t length, double *swing)
{
    double sum = 0, square = 0, gone_sum = 0, gone_square = 0;
    for (size_t i = 0; i < length && i < frames; i++)
        sum += (double)values[i], square += (double)values[i] * (double)values[i];
    for (size_t at = 0; at + length <= frames; at++) {
        const double inside = sum - gone_sum;
        swing[at] += fmax(square - gone_square - inside * inside / (double)length, 0);
        gone_sum += (double)values[at], gone_square += (double)values[at] * (double)values[at];
        if (at + length < frames) {
            const double next = (double)values[at + length];
            sum += next, square += next * next;
        }
    }
}

static bool make_plans(struct search *search)
{
    tt_fft_lock();
    search->forward = fftwf_plan_dft_r2c_1d(SPAN, search->time, search->product, FFTW_ESTIMATE | FFTW_UNALIGNED);
    search->inverse = fftwf_plan_dft_c2r_1d(SPAN, search->product, search->time, FFTW_ESTIMATE);
    tt_fft_unlock();
    return search->forward && search->inverse;
}

static bool search_open(struct search *search, const struct lag_envelope *before, const struct lag_envelope *after,
                        size_t length)
{
    *search = (struct search){.before = before, .after = after, .length = length, .step = SPAN - length};
    search->span_count = before->frames / search->step + 1;
    search->spectra = fftwf_alloc_complex(search->span_count * LAG_FEATURES * BINS);
    search->block = fftwf_alloc_complex(LAG_FEATURES * BINS);
    search->product = fftwf_alloc_complex(BINS);
    search->time = fftwf_alloc_real(SPAN);
    search->swing = calloc(before->frames + 1, sizeof *search->swing);
    if (!search->spectra || !search->block || !search->product || !search->time || !search->swing ||
        !make_plans(search))
        return false;
    for (int f = 0; f < LAG_FEATURES; f++) {
        const float *values = before->values[f];
        add_swings(values, before->frames, length, search->swing);
        for (size_t s = 0; s < search->span_count; s++) {
            size_t start = s * search->step, left = before->frames - start;
            transform(search, values + start, left < SPAN ? left : SPAN, 0,
                      search->spectra + (s * LAG_FEATURES + (size_t)f) * BINS);
        }
    }
    return true;
}

/* Keeps the best few that lie apart. */
static void keep(struct lag_block *block, size_t at, double score)
{
    int place = block->count;
    for (int i = 0; i < block->count; i++) {
        size_t apart =
            at > block->candidates[i].frame ? at - block->candidates[i].frame : block->candidates[i].frame - at;
        if (apart > LAG_APART)
            continue;
        if (score > block->candidates[i].likeness)
            block->candidates[i].frame = at, block->candidates[i].likeness = score;
        return;
    }
    if (place == LAG_CANDIDATES) {
        place = 0;
        for (int i = 1; i < LAG_CANDIDATES; i++)
            if (block->candidates[i].likeness < block->candidates[place].likeness)
                place = i;
        if (block->candidates[place].likeness >= score)
            return;
    } else {
        block->count++;
    }
    block->candidates[place] = (struct lag_candidate){.frame = at, .likeness = score};
}

static void correlate_span(struct search *search, size_t span)
{
    memset(search->product, 0, BINS * sizeof *search->product);
    for (int f = 0; f < LAG_FEATURES; f++) {
        fftwf_complex *first = search->spectra + (span * LAG_FEATURES + (size_t)f) * BINS,
                      *second = search->block + f * BINS;
        for (size_t k = 0; k < BINS; k++) {
            search->product[k][0] += first[k][0] * second[k][0] + first[k][1] * second[k][1];
            search->product[k][1] += first[k][1] * second[k][0] - first[k][0] * second[k][1];
        }
    }
    fftwf_execute(search->inverse);
}

/* Where a block of the second sound may lie. A block without speech has no place. */
static void propose(struct search *search, struct lag_block *block)
{
    double own = 0;
    for (int f = 0; f < LAG_FEATURES; f++) {
        const float *values = search->after->values[f] + block->frame;
        double sum = 0, square = 0;
        for (size_t i = 0; i < search->length; i++)
            sum += (double)values[i], square += (double)values[i] * (double)values[i];
        own += square - sum * sum / (double)search->length;
        transform(search, values, search->length, sum / (double)search->length, search->block + f * BINS);
    }
    block->has_sound = own / (double)(search->length * LAG_FEATURES) >= least_swing_db * least_swing_db;
    for (size_t s = 0; block->has_sound && s < search->span_count; s++) {
        size_t start = s * search->step;
        correlate_span(search, s);
        for (size_t i = 0; i < search->step && start + i + search->length <= search->before->frames; i++) {
            const double swing = search->swing[start + i],
                         score = swing > 0 ? (double)search->time[i] / SPAN / sqrt(own * swing) : 0;
            if (score >= least_envelope)
                keep(block, start + i, score);
        }
    }
}

bool lag_propose(const struct lag_envelope *before, const struct lag_envelope *after, size_t length,
                 struct lag_block *blocks, size_t count)
{
    struct search search;
    bool ok = search_open(&search, before, after, length);
    for (size_t i = 0; ok && i < count; i++)
        propose(&search, &blocks[i]);
    search_close(&search);
    return ok;
}
