/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/take_times.h"

#include "base/units.h"

enum { NEAR_MS = 2000, OFF_EDGE_MS = 120 };

int64_t take_sample(const struct take_times *times, int64_t ms)
{
    /* Past any take: also keeps the product below from overflowing. */
    if (ms >= times->frame_count / times->rate_hz * 1000 + 1000)
        return times->frame_count;
    int64_t sample = tt_frames_from_ms((double)ms, times->rate_hz);
    return sample + times->rate_hz / 1000 + 1 >= times->frame_count ? times->frame_count : sample;
}

size_t take_next_run(const struct take_times *times, int64_t sample)
{
    size_t low = 0, high = times->run_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (times->runs[middle].end_sample > sample)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

int64_t take_distance_to_speech(const struct take_times *times, int64_t sample)
{
    size_t next = take_next_run(times, sample);
    int64_t distance = INT64_MAX / 4;
    if (next > 0)
        distance = sample - times->runs[next - 1].end_sample;
    if (next == times->run_count)
        return distance;
    if (times->runs[next].start_sample <= sample)
        return 0;
    int64_t ahead = times->runs[next].start_sample - sample;
    return ahead < distance ? ahead : distance;
}

/* The pause in front of run `next` (run_count: behind the last). */
static void pause_before(const struct take_times *times, size_t next, int64_t *start, int64_t *end)
{
    *start = next > 0 ? times->runs[next - 1].end_sample : 0;
    *end = next < times->run_count ? times->runs[next].start_sample : times->frame_count;
    if (*end < *start)
        *end = *start;
}

static int64_t place_in_pause(const struct take_times *times, int64_t sample, int64_t start, int64_t end)
{
    int64_t middle = start + (end - start) / 2, edge = tt_frames_from_ms(OFF_EDGE_MS, times->rate_hz);
    int64_t off = middle > sample ? middle - sample : sample - middle;
    if (off <= tt_frames_from_ms(NEAR_MS, times->rate_hz))
        return middle;
    if (sample < start + edge)
        return start + edge;
    return sample > end - edge ? end - edge : sample;
}

int64_t take_quiet_place(const struct take_times *times, int64_t sample)
{
    size_t next = take_next_run(times, sample);
    int64_t start, end, near = tt_frames_from_ms(NEAR_MS, times->rate_hz);
    if (next == times->run_count || times->runs[next].start_sample > sample) {
        pause_before(times, next, &start, &end);
        return place_in_pause(times, sample, start, end);
    }
    int64_t before = sample - times->runs[next].start_sample, after = times->runs[next].end_sample - sample;
    int64_t before_start, before_end;
    pause_before(times, next, &before_start, &before_end);
    pause_before(times, next + 1, &start, &end);
    if (before_end > before_start && before <= near && (before <= after || end <= start))
        return before_start + (before_end - before_start) / 2;
    if (end > start && after <= near)
        return start + (end - start) / 2;
    return sample;
}
