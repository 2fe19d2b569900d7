/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Places in a take, seen from its runs of speech. */
#ifndef TT_SHEET_TAKE_TIMES_H
#define TT_SHEET_TAKE_TIMES_H

#include <stddef.h>
#include <stdint.h>

#include "dsp/listener.h"

struct take_times {
    int rate_hz;
    int64_t frame_count;
    const struct tt_run *runs; /* rising */
    size_t run_count;
};

/* The sample of a sheet's time, within the take. What is within a millisecond of its end is its end: sheets show no
 * finer. */
int64_t take_sample(const struct take_times *times, int64_t ms);
/* The first run that ends behind a sample, or run_count. */
size_t take_next_run(const struct take_times *times, int64_t sample);
/* To the nearest edge of a run, before or after; 0 within a run. */
int64_t take_distance_to_speech(const struct take_times *times, int64_t sample);
/* Where a gap opens that was asked for at a sample: in the middle of the pause around it, when that is near (2 s), else
 * where it was asked for, off the edges; from within a run in the middle of the nearest pause that begins or ends
 * within 2 s, else exactly there. */
int64_t take_quiet_place(const struct take_times *times, int64_t sample);

#endif
