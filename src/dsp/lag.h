/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where each part of one sound lies in another that holds the same performance: found by cross-correlation, whatever
 * was cut, cleaned or turned up or down in between. */
#ifndef TT_DSP_LAG_H
#define TT_DSP_LAG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"

enum { TT_LAG_RATE_HZ = 4000 }; /* enough of a voice to be sure by, and three hours are 86 MB */

/* Mono, at TT_LAG_RATE_HZ; borrowed. */
struct tt_lag_sound {
    const int16_t *samples;
    size_t count;
};

/* length_s of the second sound from after_s on is what the first holds from before_s on. */
struct tt_lag_piece {
    double before_s, after_s, length_s;
};

struct tt_lags {
    struct tt_lag_piece *pieces; /* in order, in both sounds; none overlap */
    size_t count;
    size_t heard_s,
        found_s;     /* seconds of the second sound with something to hear in them, and those that are in pieces */
    double likeness; /* median correlation of the waveforms over these, 0..1 */
    bool is_turned;  /* the polarity is the other one */
};

/* Fails only when memory does; what was not found is not in pieces. Free with tt_lags_free. */
bool tt_lag_find(const struct tt_lag_sound *before, const struct tt_lag_sound *after, struct tt_lags *lags,
                 struct tt_error *err);
void tt_lags_free(struct tt_lags *lags); /* zeroes it */

#endif
