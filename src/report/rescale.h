/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Frame positions carried from one sample rate to another, as the resampler does: round(frame * to / from), halves up.
 */
#ifndef TT_REPORT_RESCALE_H
#define TT_REPORT_RESCALE_H

#include <stdint.h>

/* In whole seconds and a rest, so that nothing overflows; frame >= 0. */
static inline int64_t tt_rescale_frames(int64_t frame, int from_hz, int to_hz)
{
    int64_t seconds = frame / from_hz, rest = frame % from_hz;
    return seconds * to_hz + (2 * rest * to_hz + from_hz) / (2 * (int64_t)from_hz);
}

#endif
