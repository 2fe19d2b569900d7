/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/interpolator.h"

#include <math.h>
#include <pthread.h>
#include <stdbool.h>
#include <string.h>

#include "base/lanes.h"
#include "base/units.h"
#include "base/wide.h"

enum {
    PHASES = TT_INTERPOLATOR_PHASES,
    TAPS = TT_INTERPOLATOR_TAPS,
    AHEAD = TT_INTERPOLATOR_AHEAD,
    BEHIND = TT_INTERPOLATOR_BEHIND,
    SCREEN = TT_INTERPOLATOR_SCREEN,
    SKIP = 512 /* intervals passed over at once where all is quiet */
};

/* Kaiser's window at 8: of the betas 4 to 9 the flattest up to 0.417 of the rate at 32 taps, by calculation. */
static const double kaiser_beta = 8.0;
/* Single precision adds less than this to a sum of 32 products. */
static const double rounding_slack = 1.0 + 1e-5;

/* Modified Bessel function of order 0, by its power series. */
static double bessel_i0(double x)
{
    double sum = 1.0, term = 1.0;
    for (int k = 1; term > sum * 1e-18; k++) { /* what is smaller does not change a double */
        const double factor = x / (2.0 * k);
        term *= factor * factor;
        sum += term;
    }
    return sum;
}

static double window_at(double distance)
{
    const double part = distance / AHEAD;
    return part * part < 1.0 ? bessel_i0(kaiser_beta * sqrt(1.0 - part * part)) / bessel_i0(kaiser_beta) : 0.0;
}

static double sinc(double x) { return x == 0.0 ? 1.0 : sin(TT_PI * x) / (TT_PI * x); }

/* A windowed sinc, corrected (by less than 1e-3) so that constants and straight lines are reproduced exactly. Without
 * that the distance from the chord could not be bounded by second differences. */
static void phase_taps(double offset, double taps[TAPS])
{
    double sum = 0, moment = 0, weight = 0, weight_moment = 0, weight_square = 0;
    for (int k = 0; k < TAPS; k++) {
        const double distance = k - BEHIND - offset, window = window_at(distance);
        taps[k] = sinc(distance) * window;
        sum += taps[k];
        moment += taps[k] * distance;
        weight += window;
        weight_moment += window * distance;
        weight_square += window * distance * distance;
    }
    const double scale = weight * weight_square - weight_moment * weight_moment;
    const double level = ((1.0 - sum) * weight_square + moment * weight_moment) / scale;
    const double slope = (-moment * weight - (1.0 - sum) * weight_moment) / scale;
    for (int k = 0; k < TAPS; k++) {
        const double distance = k - BEHIND - offset;
        taps[k] += window_at(distance) * (level + slope * distance);
    }
}

/* Sum of |weights| by which second differences make up kernel minus chord: the residual, summed up twice. most[k]
 * becomes the larger of itself and weight k, which belongs to the second difference of samples k, k + 1 and k + 2. */
static double curve_weight(const double taps[TAPS], double offset, double most[TAPS])
{
    double first = 0, second = 0, total = 0;
    for (int k = 0; k < TAPS; k++) {
        const double chord = k == BEHIND ? 1.0 - offset : k == BEHIND + 1 ? offset : 0.0;
        first += taps[k] - chord;
        second += first;
        total += fabs(second);
        most[k] = fmax(most[k], fabs(second));
    }
    return total;
}

static void make_kernel(struct tt_interpolator *interpolator)
{
    double sample_bound = 1.0, curve_bound = 0.0, curve_weights[TAPS] = {0};
    interpolator->taps[BEHIND][0] = 1.0F;
    for (int phase = 1; phase < PHASES; phase++) {
        double taps[TAPS], total = 0;
        const double offset = (double)phase / PHASES;
        phase_taps(offset, taps);
        for (int k = 0; k < TAPS; k++) {
            interpolator->taps[k][phase] = (float)taps[k];
            total += fabs(taps[k]);
        }
        sample_bound = fmax(sample_bound, total);
        curve_bound = fmax(curve_bound, curve_weight(taps, offset, curve_weights));
    }
    interpolator->sample_bound = (float)(sample_bound * rounding_slack);
    interpolator->curve_bound = (float)(curve_bound * rounding_slack);
    for (int k = 0; k < TAPS - 2; k++) { /* the last two are rounding: the residual is without sum and slope */
        interpolator->curve_weights[k] = (float)(curve_weights[k] * rounding_slack);
        interpolator->curve_weight_sum += interpolator->curve_weights[k];
    }
}

/* The same for all, and some thousand calls of libm: what each of many short takes needs five times. */
static struct tt_interpolator kernel;
static pthread_once_t kernel_once = PTHREAD_ONCE_INIT;

static void make_shared_kernel(void) { make_kernel(&kernel); }

void tt_interpolator_init(struct tt_interpolator *interpolator)
{
    pthread_once(&kernel_once, make_shared_kernel);
    *interpolator = kernel;
}

static const int32_t infinity_bits = 0x7F800000;

/* As whole numbers: magnitudes as bits are in the order of the numbers, and compilers leave a maximum of floats scalar.
 */
TT_WIDE static int32_t highest_magnitude(const float *samples, size_t count)
{
    int32_t highest = 0;
    for (size_t i = 0; i < count; i++) {
        int32_t bits;
        memcpy(&bits, &samples[i], sizeof bits);
        bits &= 0x7FFFFFFF;
        highest = bits > highest ? bits : highest;
    }
    return highest;
}

/* The same where some are no numbers, which lie above infinity. */
static int32_t highest_number(const float *samples, size_t count)
{
    int32_t highest = 0;
    for (size_t i = 0; i < count; i++) {
        const int32_t bits = highest_magnitude(samples + i, 1);
        highest = bits > highest && bits <= infinity_bits ? bits : highest;
    }
    return highest;
}

float tt_sample_peak(const float *samples, size_t count)
{
    int32_t highest = highest_magnitude(samples, count);
    if (highest > infinity_bits)
        highest = highest_number(samples, count);
    float peak;
    memcpy(&peak, &highest, sizeof peak);
    return peak;
}

TT_WIDE static void find_points(const struct tt_interpolator *interpolator, const float *first, float *points)
{
    _Static_assert((int)PHASES == (int)TT_LANES, "a point in each lane");
    tt_lanes sums = {0}, taps;
    for (int k = 0; k < TAPS; k++) {
        tt_lanes_load(&taps, interpolator->taps[k]);
        sums += taps * first[k];
    }
    memcpy(points, &sums, sizeof sums);
}

float tt_interpolator_peak(const struct tt_interpolator *interpolator, const float *sample)
{
    float points[PHASES];
    find_points(interpolator, sample - BEHIND, points);
    return tt_sample_peak(points, PHASES);
}

/* How far the points of an interval can lie from the chord; curves are the magnitudes of second differences in its
 * reach. */
static inline float bow_of(const struct tt_interpolator *interpolator, const float *curves)
{
    tt_half_lanes sums = {0};
    float sum = 0;
    for (int k = 0; k < TAPS; k += TT_LANES / 2)
        tt_half_lanes_add_products(&sums, interpolator->curve_weights + k, curves + k);
    for (int lane = 0; lane < TT_LANES / 2; lane++)
        sum += sums[lane];
    return sum;
}

/* Of count + TAPS - 1 samples from first on. */
TT_WIDE static void find_curves(const float *first, size_t count, float *curves)
{
    for (size_t i = 0; i + 2 < count; i++)
        curves[i] = fabsf(first[i] - 2.0F * first[i + 1] + first[i + 2]);
}

/* The larger end of each of count intervals. */
TT_WIDE static void find_chords(const float *sample, size_t count, float *chords)
{
    for (size_t i = 0; i < count; i++) {
        const float left = fabsf(sample[i]), right = fabsf(sample[i + 1]);
        chords[i] = left > right ? left : right;
    }
}

uint32_t tt_interpolator_screen(const struct tt_interpolator *interpolator, const float *sample, size_t count,
                                float threshold)
{
    const size_t reach = count + TAPS - 1;
    const float *first = sample - BEHIND;
    const float peak = tt_sample_peak(first, reach);
    if (peak * interpolator->sample_bound <= threshold)
        return 0;
    float curves[SCREEN + TAPS] = {0}, chords[SCREEN];
    find_curves(first, reach, curves);
    /* Rounding of a second difference is a matter of the samples, not of the difference. */
    const float slack = 4e-7F * peak;
    const float bow = interpolator->curve_bound * (tt_sample_peak(curves, reach - 2) + slack) + 1e-5F * peak;
    if (peak + bow <= threshold)
        return 0;
    const float own_slack = interpolator->curve_weight_sum * slack + 2e-5F * peak;
    find_chords(sample, count, chords);
    uint32_t mask = 0;
    for (size_t i = 0; i < count; i++) {
        bool can_pass = !(chords[i] + bow <= threshold); /* also where one is no number */
        if (can_pass)
            can_pass = !(chords[i] + bow_of(interpolator, curves + i) + own_slack <= threshold);
        mask |= (uint32_t)can_pass << i;
    }
    return mask;
}

static float highest_of_screen(const struct tt_interpolator *interpolator, const float *sample, size_t count,
                               float highest)
{
    uint32_t mask = tt_interpolator_screen(interpolator, sample, count, highest);
    for (; mask != 0; mask >>= 1, sample++) {
        if ((mask & 1U) == 0)
            continue;
        const float peak = tt_interpolator_peak(interpolator, sample);
        if (peak > highest)
            highest = peak;
    }
    return highest;
}

float tt_interpolator_highest(const struct tt_interpolator *interpolator, const float *sample, size_t count,
                              float highest)
{
    while (count > 0) {
        const size_t part = count < SKIP ? count : SKIP;
        if (!(tt_sample_peak(sample - BEHIND, part + TAPS - 1) * interpolator->sample_bound <= highest)) {
            /* The samples are points of their intervals: known beforehand, they leave little to look at where a take
             * begins. */
            const float of_samples = tt_sample_peak(sample, part);
            highest = of_samples > highest ? of_samples : highest;
            for (size_t at = 0; at < part; at += SCREEN)
                highest =
                    highest_of_screen(interpolator, sample + at, part - at < SCREEN ? part - at : SCREEN, highest);
        }
        sample += part;
        count -= part;
    }
    return highest;
}
