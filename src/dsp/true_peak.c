/* SPDX-License-Identifier: GPL-2.0-or-later */
/* ITU-R BS.1770-5 Annex 2, with 16 times oversampling where 4 are asked for: at 20 kHz and 48 kHz the under-read is
 * then at most 0.03 dB in place of 0.47 (attachment 1 to Annex 2). At 96 kHz and above less would do, as the sound ends
 * far below half the rate there; the same 16 are kept, since they are computed in few places. */
#include <stdlib.h>
#include <string.h>

#include "dsp/interpolator.h"
#include "dsp/limiter.h"

enum { CONTEXT = TT_INTERPOLATOR_TAPS - 1 };

struct tt_true_peak {
    struct tt_interpolator interpolator;
    float edge[2 * CONTEXT]; /* the last samples, silence at first, and room for those that come behind them */
    float highest, of_samples;
};

struct tt_true_peak *tt_true_peak_create(int rate_hz, struct tt_error *err)
{
    if (rate_hz <= 0) {
        tt_fail(err, TT_ERROR_INTERNAL, "true peak: a rate of %d Hz", rate_hz);
        return NULL;
    }
    struct tt_true_peak *peak = calloc(1, sizeof *peak);
    if (peak == NULL) {
        tt_fail_memory(err);
        return NULL;
    }
    tt_interpolator_init(&peak->interpolator);
    return peak;
}

void tt_true_peak_destroy(struct tt_true_peak *peak) { free(peak); }

/* The intervals whose reach lies within count samples. */
static void look_at(struct tt_true_peak *peak, const float *samples, size_t count)
{
    const float of_samples = tt_sample_peak(samples, count);
    peak->of_samples = of_samples > peak->of_samples ? of_samples : peak->of_samples;
    if (!(of_samples * peak->interpolator.sample_bound <= peak->highest))
        peak->highest = tt_interpolator_highest(&peak->interpolator, samples + TT_INTERPOLATOR_BEHIND, count - CONTEXT,
                                                peak->highest);
}

void tt_true_peak_add(struct tt_true_peak *peak, const float *samples, size_t count)
{
    const size_t joined = count < CONTEXT ? count : CONTEXT;
    if (count == 0)
        return;
    memcpy(peak->edge + CONTEXT, samples, joined * sizeof *samples);
    look_at(peak, peak->edge, CONTEXT + joined);
    if (count > CONTEXT)
        look_at(peak, samples, count);
    memmove(peak->edge, peak->edge + joined, CONTEXT * sizeof *samples);
    if (count > CONTEXT)
        memcpy(peak->edge, samples + count - CONTEXT, CONTEXT * sizeof *samples);
}

double tt_true_peak_result(struct tt_true_peak *peak)
{
    static const float silence[CONTEXT];
    tt_true_peak_add(peak, silence, CONTEXT);
    return peak->highest;
}

double tt_true_peak_of_samples(const struct tt_true_peak *peak) { return peak->of_samples; }
