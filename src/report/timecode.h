/* SPDX-License-Identifier: GPL-2.0-or-later */
/* SMPTE ST 12-1 time addresses: frames of picture as hh:mm:ss:ff and back, and samples of sound as frames of picture.
 */
#ifndef TT_REPORT_TIMECODE_H
#define TT_REPORT_TIMECODE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/settings.h"

enum { TT_TIMECODE_CHARS = 16 };

/* "01:00:00:00"; with ';' before the frames where numbers are dropped. Runs over at 24 hours, as clocks do. */
void tt_timecode_format(enum tt_frame_rate rate, int64_t frame, char text[TT_TIMECODE_CHARS]);
/* Both ':' and ';' may stand before the frames; false when it is no time address of this rate. */
bool tt_timecode_parse(enum tt_frame_rate rate, const char *text, int64_t *frame);

/* The frame boundary nearest to a sample, counted from sample 0: round(sample * fps / sample_rate_hz). Boundaries that
 * sounds share stay shared, so a list made of them has neither holes nor drift. */
int64_t tt_timecode_frame_of_sample(enum tt_frame_rate rate, int64_t sample, int sample_rate_hz);

/* Frames a second. */
double tt_timecode_fps(enum tt_frame_rate rate);
bool tt_timecode_is_drop(enum tt_frame_rate rate);

#endif
