/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The waveform between samples: 16 times oversampling, point by point, and a bound that tells where it cannot matter.
 */
#ifndef TT_DSP_INTERPOLATOR_H
#define TT_DSP_INTERPOLATOR_H

#include <stddef.h>
#include <stdint.h>

enum {
    TT_INTERPOLATOR_PHASES = 16,
    TT_INTERPOLATOR_TAPS = 32,
    TT_INTERPOLATOR_AHEAD = TT_INTERPOLATOR_TAPS / 2,   /* samples read right of an interval's left sample */
    TT_INTERPOLATOR_BEHIND = TT_INTERPOLATOR_AHEAD - 1, /* and left of it */
    TT_INTERPOLATOR_SCREEN = 32                         /* intervals looked at together, one bit each */
};

/* Interval n is [sample n, sample n + 1). Plain data, the same at every rate: the kernel is flat within 0.002 dB up to
 * 20 kHz at 48 kHz (0.417 of the rate), and phase 0 is the sample itself. */
struct tt_interpolator {
    float taps[TT_INTERPOLATOR_TAPS][TT_INTERPOLATOR_PHASES];
    float sample_bound; /* no point is larger than this times the largest sample in its reach */
    float curve_bound;  /* no point is further from the chord than this times the largest second difference in its reach
                           ... */
    float curve_weights[TT_INTERPOLATOR_TAPS]; /* ... or than the sum of these times each: dearer, and several times
                                                  closer */
    float curve_weight_sum;
};

void tt_interpolator_init(struct tt_interpolator *interpolator);

/* Largest |x| of count samples; 0 for none. */
float tt_sample_peak(const float *samples, size_t count);

/* Largest |x| of the 16 points of the interval right of *sample; reads sample[-15] to sample[16]. */
float tt_interpolator_peak(const struct tt_interpolator *interpolator, const float *sample);

/* Which of count (at most TT_INTERPOLATOR_SCREEN) intervals from *sample on can hold a point larger than threshold:
 * bit i for interval i. Reads sample[-15] to sample[count + 15]. Never misses one. */
uint32_t tt_interpolator_screen(const struct tt_interpolator *interpolator, const float *sample, size_t count,
                                float threshold);

/* The larger of highest and the largest point of count intervals from *sample on. Reads as the screen does. */
float tt_interpolator_highest(const struct tt_interpolator *interpolator, const float *sample, size_t count,
                              float highest);

#endif
