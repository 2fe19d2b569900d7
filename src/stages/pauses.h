/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How long a pause of a given length stays. */
#ifndef TT_STAGES_PAUSES_H
#define TT_STAGES_PAUSES_H

/* stay + (longest - stay) * (1 - exp(-(pause - stay) / (longest - stay))) beyond stay; the pause itself up to it. Rises
 * with the pause. */
double tt_pause_curve_ms(double pause_ms, double stay_ms, double longest_ms);

#endif
