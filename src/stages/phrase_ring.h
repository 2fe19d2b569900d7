/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How long the room goes on sounding behind a phrase. */
#ifndef TT_STAGES_PHRASE_RING_H
#define TT_STAGES_PHRASE_RING_H

#include "stages/phrases.h"

/* Of what is heard well from one sample to another, the seconds at its end in which nobody speaks any more; 0 where a
 * take's room cannot be heard behind its words. */
double tt_phrase_ring_s(const struct tt_heard *heard, int64_t start_sample, int64_t end_sample);
/* Whether a word was broken off is heard at its own end: there the phrase then ends to be heard well. */
void tt_phrase_leave_out_ring(const struct tt_heard *heard, struct tt_phrase *phrase);

#endif
