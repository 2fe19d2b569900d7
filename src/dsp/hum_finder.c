/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Looks at stretches of four seconds, at some 3.2 kHz: what is quiet in each is kept, the rest is blanked, and the
 * spectrum is looked through for lines of the mains (hum_lines.h). A voice is loud, and wanders. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/median.h"
#include "base/units.h"
#include "base/wide.h"
#include "dsp/fft_lock.h"
#include "dsp/hum_lines.h"

static const double LOW_RATE_HZ = 3200.0; /* holds harmonic 24 of 60 Hz, 1440 Hz */
static const double STRETCH_S = 4.0;
static const double FRAME_S = 0.05; /* loudness is judged at this grain */
/* A frame is quiet up to this far over this quantile of the stretch. */
static const double QUIET_QUANTILE = 0.12;
static const double QUIET_OVER_DB = 4.0;
static const double SILENCE = 1e-14; /* power: digital silence is no room */
enum { END_FRAMES = 10 };            /* 0.5 s */
enum { FIFO_MORE = 1024 };           /* samples that are gathered before they are decimated */
/* Mains hum for as long as they are on: behind the first stretches every fourth is looked at. */
enum { CLOSE_STRETCHES = 64, SPARSE_STRETCHES = 4 };
enum { TAPS_PER_STEP = 6, MOST_FRAMES = 256 };

struct tt_hum_finder {
    int step, tap_count;
    double low_rate_hz;
    float *taps, *fifo;
    int fifo_count;
    int stretch_count, frame_count, transform_count;
    float *stretch; /* decimated samples */
    int stretch_have;
    int64_t stretches;   /* that could be judged */
    int64_t looked_at;   /* that were looked at */
    int64_t passed_over; /* samples of the stream still to be passed over */
    struct tt_hum_candidate candidates[2];
    int candidate_count;
    float *block;
    fftwf_complex *spectrum;
    fftwf_plan plan;
};

static void make_taps(struct tt_hum_finder *finder)
{
    const int count = TAPS_PER_STEP * finder->step; /* those behind are 0, for loops without a rest */
    const double middle = (count - 1) / 2.0, width = 0.9 / finder->step;
    double sum = 0.0;
    for (int i = 0; i < count; i++) {
        const double x = (i - middle) * width;
        const double ideal = fabs(x) < 1e-9 ? 1.0 : sin(TT_PI * x) / (TT_PI * x);
        const double tap = ideal * (0.5 - 0.5 * cos(2.0 * TT_PI * (i + 0.5) / count));
        finder->taps[i] = (float)tap;
        sum += tap;
    }
    for (int i = 0; i < count; i++)
        finder->taps[i] /= (float)sum;
}

static void set_sizes(struct tt_hum_finder *finder, int rate_hz, int base_hz)
{
    finder->step = (int)floor(rate_hz / LOW_RATE_HZ);
    if (finder->step < 1)
        finder->step = 1;
    finder->low_rate_hz = (double)rate_hz / finder->step;
    finder->tap_count = (TAPS_PER_STEP * finder->step + TT_LANES - 1) / TT_LANES * TT_LANES;
    finder->frame_count = (int)lround(FRAME_S * finder->low_rate_hz);
    finder->stretch_count = finder->frame_count * (int)lround(STRETCH_S / FRAME_S);
    finder->transform_count = 1;
    while (finder->transform_count < 2 * finder->stretch_count)
        finder->transform_count *= 2;
    if (base_hz == 0 || base_hz == 50)
        finder->candidates[finder->candidate_count++].base_hz = 50;
    if (base_hz == 0 || base_hz == 60)
        finder->candidates[finder->candidate_count++].base_hz = 60;
}

struct tt_hum_finder *tt_hum_finder_create(int rate_hz, int base_hz, struct tt_error *err)
{
    struct tt_hum_finder *finder = calloc(1, sizeof *finder);
    if (!finder) {
        tt_fail_memory(err);
        return NULL;
    }
    set_sizes(finder, rate_hz, base_hz);
    finder->taps = calloc((size_t)finder->tap_count, sizeof(float));
    finder->fifo = calloc((size_t)finder->tap_count + FIFO_MORE, sizeof(float));
    finder->stretch = malloc((size_t)finder->stretch_count * sizeof(float));
    finder->block = fftwf_alloc_real((size_t)finder->transform_count);
    finder->spectrum = fftwf_alloc_complex((size_t)finder->transform_count / 2 + 1);
    if (finder->taps && finder->fifo && finder->stretch && finder->block && finder->spectrum) {
        make_taps(finder);
        tt_fft_lock();
        finder->plan = fftwf_plan_dft_r2c_1d(finder->transform_count, finder->block, finder->spectrum, FFTW_ESTIMATE);
        tt_fft_unlock();
    }
    if (!finder->plan) {
        tt_fail_memory(err);
        tt_hum_finder_destroy(finder);
        return NULL;
    }
    return finder;
}

void tt_hum_finder_destroy(struct tt_hum_finder *finder)
{
    if (!finder)
        return;
    tt_fft_lock();
    if (finder->plan)
        fftwf_destroy_plan(finder->plan);
    tt_fft_unlock();
    free(finder->taps);
    free(finder->fifo);
    free(finder->stretch);
    fftwf_free(finder->block);
    fftwf_free(finder->spectrum);
    free(finder);
}

/* A stretch begins and ends slowly, so that strong hum does not leak into its neighbours. */
static double end_weight(int at, int count, int taper)
{
    const int from_end = at < count - 1 - at ? at : count - 1 - at;
    return from_end < taper ? 0.5 - 0.5 * cos(TT_PI * (from_end + 0.5) / taper) : 1.0;
}

/* The stretch into block, what is loud blanked with soft edges; false where nothing can be judged. */
static bool keep_quiet(struct tt_hum_finder *finder)
{
    double levels[MOST_FRAMES], sorted[MOST_FRAMES];
    const int frames = finder->stretch_have / finder->frame_count, size = finder->frame_count;
    if (frames < 2 * END_FRAMES || frames > MOST_FRAMES)
        return false;
    for (int f = 0; f < frames; f++) {
        double sum = 0.0;
        for (int i = 0; i < size; i++)
            sum += (double)finder->stretch[f * size + i] * (double)finder->stretch[f * size + i];
        levels[f] = sorted[f] = sum / size;
    }
    const double most = tt_nth_smallest(sorted, (size_t)frames, (size_t)(QUIET_QUANTILE * (frames - 1))) *
                        pow(10.0, QUIET_OVER_DB / 10.0);
    if (!(most > SILENCE))
        return false;
    memset(finder->block, 0, (size_t)finder->transform_count * sizeof(float));
    for (int f = 0; f < frames; f++) {
        if (levels[f] > most || levels[f] < SILENCE)
            continue;
        const bool from_here = f == 0 || levels[f - 1] > most, to_here = f == frames - 1 || levels[f + 1] > most;
        for (int i = 0; i < size; i++) {
            double weight = 1.0;
            if (from_here)
                weight *= 0.5 - 0.5 * cos(TT_PI * (i + 0.5) / size);
            weight *= end_weight(f * size + i, frames * size, END_FRAMES * size);
            if (to_here)
                weight *= 0.5 + 0.5 * cos(TT_PI * (i + 0.5) / size);
            finder->block[f * size + i] = (float)(weight * (double)finder->stretch[f * size + i]);
        }
    }
    return true;
}

static void judge_stretch(struct tt_hum_finder *finder)
{
    if (keep_quiet(finder)) {
        fftwf_execute(finder->plan);
        const struct tt_hum_spectrum spectrum = {finder->spectrum, finder->transform_count,
                                                 finder->low_rate_hz / finder->transform_count};
        for (int c = 0; c < finder->candidate_count; c++)
            tt_hum_lines_judge(&finder->candidates[c], &spectrum);
        finder->stretches++;
    }
    finder->stretch_have = 0;
    finder->looked_at++;
}

/* What is there of the samples behind a stretch is passed over with them. */
static void pass_over(struct tt_hum_finder *finder, int used)
{
    const int there = finder->fifo_count - used;
    finder->passed_over = (SPARSE_STRETCHES - 1) * (int64_t)finder->stretch_count * finder->step - there;
    finder->fifo_count = 0;
}

TT_WIDE static float dot(const float *taps, const float *samples, int count)
{
    tt_lanes sums = {0};
    for (int i = 0; i < count; i += TT_LANES)
        tt_lanes_add_products(&sums, taps + i, samples + i);
    return tt_lanes_sum(&sums);
}

static void decimate(struct tt_hum_finder *finder)
{
    int at = 0;
    for (; at + finder->tap_count <= finder->fifo_count; at += finder->step) {
        finder->stretch[finder->stretch_have++] = dot(finder->taps, finder->fifo + at, finder->tap_count);
        if (finder->stretch_have < finder->stretch_count)
            continue;
        judge_stretch(finder);
        if (finder->looked_at >= CLOSE_STRETCHES) {
            pass_over(finder, at + finder->step);
            return;
        }
    }
    finder->fifo_count -= at;
    memmove(finder->fifo, finder->fifo + at, (size_t)finder->fifo_count * sizeof(float));
}

void tt_hum_finder_add(struct tt_hum_finder *finder, const float *samples, size_t count)
{
    while (count > 0) {
        if (finder->passed_over > 0) {
            const size_t passed = (uint64_t)finder->passed_over < count ? (size_t)finder->passed_over : count;
            finder->passed_over -= (int64_t)passed;
            samples += passed;
            count -= passed;
            continue;
        }
        const size_t room = (size_t)(finder->tap_count + FIFO_MORE - finder->fifo_count);
        const size_t taken = count < room ? count : room;
        memcpy(finder->fifo + finder->fifo_count, samples, taken * sizeof *samples);
        finder->fifo_count += (int)taken;
        samples += taken;
        count -= taken;
        if (taken == room)
            decimate(finder);
    }
}

struct tt_hum tt_hum_finder_result(struct tt_hum_finder *finder)
{
    struct tt_hum best = {0};
    double best_sum = 0.0;
    decimate(finder);
    if (finder->stretch_have >= finder->stretch_count / 4)
        judge_stretch(finder);
    for (int c = 0; c < finder->candidate_count; c++) {
        const struct tt_hum_candidate *candidate = &finder->candidates[c];
        double sum;
        const struct tt_hum hum = tt_hum_lines_result(candidate, &sum);
        if (hum.base_hz == 0.0 || 2 * candidate->found <= finder->stretches || sum <= best_sum)
            continue;
        best = hum;
        best_sum = sum;
    }
    return best;
}
