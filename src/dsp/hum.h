/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Mains hum: found in a take's quiet frames, taken out by narrow notches only where it is there. */
#ifndef TT_DSP_HUM_H
#define TT_DSP_HUM_H

#include <stddef.h>

#include "base/fail.h"

enum { TT_HUM_HARMONICS = 24 };
struct tt_hum {
    double base_hz;                        /* measured, e.g. 50.02; 0: none found */
    float over_floor_db[TT_HUM_HARMONICS]; /* of harmonic k+1; 0 where it does not stand out */
};

/* Listens to samples (already high-passed), finds by itself what is quiet in them. base_hz: 50, 60, or 0 = either. */
struct tt_hum_finder;
struct tt_hum_finder *tt_hum_finder_create(int rate_hz, int base_hz, struct tt_error *err);
void tt_hum_finder_add(struct tt_hum_finder *finder, const float *samples, size_t count);
struct tt_hum tt_hum_finder_result(struct tt_hum_finder *finder);
void tt_hum_finder_destroy(struct tt_hum_finder *finder);

/* Zero-delay removal, in place; harmonics with over_floor_db 0 are untouched. sizes: TT_HUM_HARMONICS amplitudes, about
 * that of hum and room together within a mains frequency's width around each harmonic: what is much louder from the
 * first sample on is a voice. */
struct tt_hum_filter;
struct tt_hum_filter *tt_hum_filter_create(int rate_hz, const struct tt_hum *hum, const float *sizes,
                                           struct tt_error *err);
void tt_hum_filter_run(struct tt_hum_filter *filter, float *samples, size_t count);
void tt_hum_filter_destroy(struct tt_hum_filter *filter);

#endif
