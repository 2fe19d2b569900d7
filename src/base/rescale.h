/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Frame positions carried from one sample rate to another: round(frame * to / from), halves away from 0. */
#ifndef TT_BASE_RESCALE_H
#define TT_BASE_RESCALE_H

#include <stdint.h>

static inline int64_t tt_rescale_frames(int64_t frame, int from_hz, int to_hz)
{
    if (frame < 0)
        return -tt_rescale_frames(-frame, from_hz, to_hz);
    /* In whole seconds and a rest, so that nothing overflows. */
    int64_t seconds = frame / from_hz, rest = frame % from_hz;
    return seconds * to_hz + (2 * rest * to_hz + from_hz) / (2 * (int64_t)from_hz);
}

#endif
