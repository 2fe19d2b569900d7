/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The gain that brings a sound to its target although a limiter will act: measured once as it is, then forecast. What
 * the forecast misses is learnt from the file as it was written, which is written once more where it misses too much.
 */
#ifndef TT_PIPELINE_GAIN_FINDER_H
#define TT_PIPELINE_GAIN_FINDER_H

#include "base/settings.h"
#include "dsp/meter.h"

struct tt_gain_finder;
struct tt_gain_finder *tt_gain_finder_create(int rate_hz, const struct tt_settings *settings, struct tt_error *err);
bool tt_gain_finder_add(struct tt_gain_finder *finder, const float *samples, size_t count, struct tt_error *err);
void tt_gain_finder_destroy(struct tt_gain_finder *finder);

/* Levels as they are; nothing is added from here on. */
const struct tt_levels *tt_gain_finder_levels(struct tt_gain_finder *finder);
/* Silence stays what it is. Never more than limit_most_db of limiting: *is_held_back tells that the target is missed
 * for that. */
double tt_gain_finder_gain_db(struct tt_gain_finder *finder, bool *is_held_back);
/* Whether levels, as measured behind gain and limiter, are near enough to the target, or as near as they may come. */
bool tt_gain_finder_is_met(struct tt_gain_finder *finder, double gain_db, const struct tt_levels *levels);

/* False when the memory for a forecast could not be had: what was found since is not to be written by. */
bool tt_gain_finder_has_memory(const struct tt_gain_finder *finder, struct tt_error *err);

/* A fixed gain, lowered where the limiter would have to take off more than limit_most_db. */
double tt_allowed_gain_db(double gain_db, const struct tt_levels *levels, const struct tt_settings *settings,
                          bool *is_held_back);

#endif
