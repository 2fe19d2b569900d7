/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Looks at stretches of four seconds, at some 3.2 kHz: what is quiet in each is kept, the rest is blanked, and the
 * lines of the spectrum at multiples of a mains frequency are held against their neighbours. A voice is loud, and
 * wanders. */
#include "dsp/hum_finder.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/lanes.h"
#include "base/median.h"
#include "dsp/fast_math.h"
#include "dsp/fft_lock.h"

#define PI 3.14159265358979323846

static const double LOW_RATE_HZ = 3200.0; /* holds harmonic 24 of 60 Hz, 1440 Hz */
static const double STRETCH_S = 4.0;
static const double FRAME_S = 0.05; /* loudness is judged at this grain */
/* A frame is quiet up to this far over this quantile of the stretch. */
static const double QUIET_QUANTILE = 0.12;
static const double QUIET_OVER_DB = 4.0;
/* Mains are kept within 0.2 Hz in public grids (common practice, no source); recorders' clocks add nothing to speak of.
 */
static const double SEARCH_HZ = 0.3;
static const double SEARCH_STEP_HZ = 0.02;
/* The floor beside a line is the median this far from it. */
static const double NEIGHBOUR_FROM_HZ = 6.0, NEIGHBOUR_TO_HZ = 20.0;
static const double LINE_OVER_DB = 7.0;  /* a line that stands out */
static const double LINE_MOST_DB = 20.0; /* no single line decides */
enum { END_FRAMES = 10 };                /* 0.5 s */
enum { FIFO_MORE = 1024 };               /* samples that are gathered before they are decimated */
/* Mains hum for as long as they are on: behind the first stretches every fourth is looked at. */
enum { CLOSE_STRETCHES = 64, SPARSE_STRETCHES = 4 };
enum { NEIGHBOUR_STRIDE = 4, LINES_LEAST = 3, STRETCH_LINES_LEAST = 2, TAPS_PER_STEP = 6 };

static void make_taps(struct tt_hum_finder *finder)
{
    const int count = TAPS_PER_STEP * finder->step; /* those behind are 0, for loops without a rest */
    const double middle = (count - 1) / 2.0, width = 0.9 / finder->step;
    double sum = 0.0;
    for (int i = 0; i < count; i++) {
        const double x = (i - middle) * width;
        const double ideal = fabs(x) < 1e-9 ? 1.0 : sin(PI * x) / (PI * x);
        const double tap = ideal * (0.5 - 0.5 * cos(2.0 * PI * (i + 0.5) / count));
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
    return from_end < taper ? 0.5 - 0.5 * cos(PI * (from_end + 0.5) / taper) : 1.0;
}

/* The stretch into block, what is loud blanked with soft edges; false where nothing can be judged. */
static bool keep_quiet(struct tt_hum_finder *finder)
{
    double levels[256], sorted[256];
    const int frames = finder->stretch_have / finder->frame_count, size = finder->frame_count;
    if (frames < 2 * END_FRAMES || frames > 256)
        return false;
    for (int f = 0; f < frames; f++) {
        double sum = 0.0;
        for (int i = 0; i < size; i++)
            sum += (double)finder->stretch[f * size + i] * (double)finder->stretch[f * size + i];
        levels[f] = sorted[f] = sum / size;
    }
    const double most = tt_nth_smallest(sorted, (size_t)frames, (size_t)(QUIET_QUANTILE * (frames - 1))) *
                        pow(10.0, QUIET_OVER_DB / 10.0);
    if (!(most > 1e-14))
        return false; /* digital silence */
    memset(finder->block, 0, (size_t)finder->transform_count * sizeof(float));
    for (int f = 0; f < frames; f++) {
        if (levels[f] > most || levels[f] < 1e-14)
            continue;
        const bool from_here = f == 0 || levels[f - 1] > most, to_here = f == frames - 1 || levels[f + 1] > most;
        for (int i = 0; i < size; i++) {
            double weight = 1.0;
            if (from_here)
                weight *= 0.5 - 0.5 * cos(PI * (i + 0.5) / size);
            weight *= end_weight(f * size + i, frames * size, END_FRAMES * size);
            if (to_here)
                weight *= 0.5 + 0.5 * cos(PI * (i + 0.5) / size);
            finder->block[f * size + i] = (float)(weight * (double)finder->stretch[f * size + i]);
        }
    }
    return true;
}

static double bin_power(const struct tt_hum_finder *finder, int bin)
{
    const double re = (double)finder->spectrum[bin][0], im = (double)finder->spectrum[bin][1];
    return re * re + im * im;
}

/* The median power from NEIGHBOUR_FROM_HZ to NEIGHBOUR_TO_HZ on both sides of a frequency, as a mean of Gaussian noise.
 */
static double neighbour_power(const struct tt_hum_finder *finder, double frequency_hz)
{
    double values[256];
    int count = 0;
    const double bin_hz = finder->low_rate_hz / finder->transform_count;
    for (int side = -1; side <= 1; side += 2)
        for (double away = NEIGHBOUR_FROM_HZ; away <= NEIGHBOUR_TO_HZ && count < 256;
             away += NEIGHBOUR_STRIDE * bin_hz) {
            const int bin = (int)lround((frequency_hz + side * away) / bin_hz);
            if (bin > 0 && bin <= finder->transform_count / 2)
                values[count++] = bin_power(finder, bin);
        }
    if (count == 0)
        return 1e-30;
    return tt_nth_smallest(values, (size_t)count, (size_t)count / 2) / 0.693147 +
           1e-30; /* median of an exponential distribution: ln 2 of its mean */
}

/* How far each harmonic of base_hz stands over its neighbours, dB; returns the clipped sum of what stands out. */
static double line_levels(const struct tt_hum_finder *finder, double base_hz, const double *neighbours, double *levels)
{
    const double bin_hz = finder->low_rate_hz / finder->transform_count;
    const double db_per_octave = 3.010299957; /* of a power's */
    double sum = 0.0;
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        const int bin = (int)((k + 1) * base_hz / bin_hz + 0.5);
        levels[k] = bin < finder->transform_count / 2
                        ? db_per_octave * (double)tt_fast_log2((float)(bin_power(finder, bin) / neighbours[k] + 1e-3))
                        : -20.0;
        sum += levels[k] > 0.0 ? fmin(levels[k], LINE_MOST_DB) : 0.0;
    }
    return sum;
}

/* Where the power around a frequency peaks, by a parabola through the logarithms of three bins. */
static double peak_near(const struct tt_hum_finder *finder, double frequency_hz)
{
    const double bin_hz = finder->low_rate_hz / finder->transform_count;
    int best = (int)lround(frequency_hz / bin_hz);
    const int from = best - 3, to = best + 3;
    for (int bin = from; bin <= to; bin++)
        if (bin_power(finder, bin) > bin_power(finder, best))
            best = bin;
    const double left = log(bin_power(finder, best - 1) + 1e-30), middle = log(bin_power(finder, best) + 1e-30);
    const double right = log(bin_power(finder, best + 1) + 1e-30), bend = left - 2.0 * middle + right;
    const double offset = bend < -1e-6 ? 0.5 * (left - right) / bend : 0.0;
    return (best + fmax(-0.5, fmin(0.5, offset))) * bin_hz;
}

/* The base frequency that fits the peaks of the lines that stand out. */
static double refined_base(const struct tt_hum_finder *finder, double base_hz, const double *levels)
{
    double sum = 0.0, weight_sum = 0.0;
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        if (levels[k] < LINE_OVER_DB)
            continue;
        const double number = k + 1, weight = fmin(levels[k], LINE_MOST_DB);
        sum += weight * number * peak_near(finder, number * base_hz);
        weight_sum += weight * number * number;
    }
    return weight_sum > 0.0 ? sum / weight_sum : base_hz;
}

static void judge_candidate(const struct tt_hum_finder *finder, struct tt_hum_candidate *candidate)
{
    double neighbours[TT_HUM_HARMONICS], levels[TT_HUM_HARMONICS], best[TT_HUM_HARMONICS] = {0};
    double best_sum = -1.0, best_hz = candidate->base_hz;
    for (int k = 0; k < TT_HUM_HARMONICS; k++)
        neighbours[k] = neighbour_power(finder, (k + 1) * (double)candidate->base_hz);
    const int steps = (int)lround(SEARCH_HZ / SEARCH_STEP_HZ);
    for (int i = -steps; i <= steps; i++) {
        const double base_hz = candidate->base_hz + i * SEARCH_STEP_HZ;
        const double sum = line_levels(finder, base_hz, neighbours, levels);
        if (sum <= best_sum)
            continue;
        best_sum = sum;
        best_hz = base_hz;
        memcpy(best, levels, sizeof best);
    }
    int lines = 0;
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        int cell = (int)lround(2.0 * (best[k] + 20.0));
        cell = cell < 0 ? 0 : cell >= TT_HUM_LEVELS ? TT_HUM_LEVELS - 1 : cell;
        candidate->histogram[k][cell]++;
        lines += best[k] >= LINE_OVER_DB;
    }
    if (lines < STRETCH_LINES_LEAST)
        return;
    candidate->found++;
    candidate->frequency_sum += best_sum * refined_base(finder, best_hz, best);
    candidate->frequency_weight += best_sum;
}

static void judge_stretch(struct tt_hum_finder *finder)
{
    if (keep_quiet(finder)) {
        fftwf_execute(finder->plan);
        for (int c = 0; c < finder->candidate_count; c++)
            judge_candidate(finder, &finder->candidates[c]);
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

bool tt_hum_finder_add(struct tt_hum_finder *finder, const float *samples, size_t count, struct tt_error *err)
{
    (void)err;
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
    return true;
}

static double median_level(const struct tt_hum_candidate *candidate, int harmonic)
{
    int total = 0, below = 0;
    for (int i = 0; i < TT_HUM_LEVELS; i++)
        total += candidate->histogram[harmonic][i];
    for (int i = 0; i < TT_HUM_LEVELS; i++) {
        below += candidate->histogram[harmonic][i];
        if (2 * below > total)
            return i / 2.0 - 20.0;
    }
    return -20.0;
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
        struct tt_hum hum = {0};
        int lines = 0;
        double sum = 0.0;
        for (int k = 0; k < TT_HUM_HARMONICS; k++) {
            const double level = median_level(candidate, k);
            if (level < LINE_OVER_DB)
                continue;
            hum.over_floor_db[k] = (float)level;
            lines++;
            sum += level;
        }
        if (lines < LINES_LEAST || 2 * candidate->found <= finder->stretches || sum <= best_sum)
            continue;
        hum.base_hz = candidate->frequency_sum / candidate->frequency_weight;
        best = hum;
        best_sum = sum;
    }
    return best;
}
