/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How voiced a moment is: the highest normalised autocorrelation of the signal below 0.9 kHz at the periods of a voice.
 */
#ifndef TT_DSP_VOICING_H
#define TT_DSP_VOICING_H

#include "base/fail.h"

struct tt_voicing;
/* hop_samples: how many samples each call brings. */
struct tt_voicing *tt_voicing_create(int rate_hz, int hop_samples, struct tt_error *err);
void tt_voicing_destroy(struct tt_voicing *voicing);
/* Hears the next hop and tells how voiced the signal was around the sample that lies tt_voicing_delay_hops() hops
 * before the first sample of this call: 0..1, some 0.2-0.4 for noise, above 0.7 for a clear voice. Before the first
 * sample all is silence. */
float tt_voicing_next(struct tt_voicing *voicing, const float *samples);
/* The same without working it out: for moments at which nobody asks. */
void tt_voicing_skip(struct tt_voicing *voicing, const float *samples);
int tt_voicing_delay_hops(const struct tt_voicing *voicing);

#endif
