/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How long the room goes on sounding behind a phrase. */
#ifndef TT_STAGES_PHRASE_RING_H
#define TT_STAGES_PHRASE_RING_H

#include "sheet/heard.h"

/* Of what is heard well from one sample to another, the seconds at its end in which nobody speaks any more; 0 where a
 * take's room cannot be heard behind its words. */
double tt_phrase_ring_s(const struct tt_heard *heard, int64_t start_sample, int64_t end_sample);

#endif
