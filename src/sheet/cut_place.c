/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/cut_place.h"

#include "base/least.h"
#include "base/units.h"
#include "sheet/join_place.h"
#include "sheet/word_guards.h"

/* A row ends as near to the line behind it as guards allow; where a weak beginning sinks under the noise the cut must
 * not come nearer. A second reading began 135 ms before it was heard (20 dB over the room). */
static const double off_next_line_ms = 200;
/* Room tone that stays between two joins at least. */
static const double apart_least_ms = 30;
/* Off the words that go: what is left of them there lies under the room. */
static const double off_cut_words_ms = 70;
/* No word is so short: what a cut would leave of a run in front of it is rustle, and may go. Where words stayed in
 * front in the same run they took a second and more (8 of 520 cuts), where rustle did 27 ms at most. */
static const double scrap_most_ms = 100;

static void hold_behind(struct leeway *leeway, const struct take_times *times, size_t run, double off_ms, int64_t at)
{
    const int64_t end = times->runs[run].end_sample + tt_frames_from_ms(off_ms, times->rate_hz);
    leeway->back = tt_least(leeway->back, at - end);
}

static void hold_before(struct leeway *leeway, const struct take_times *times, size_t run, double off_ms, int64_t at)
{
    const int64_t start = times->runs[run].start_sample - tt_frames_from_ms(off_ms, times->rate_hz);
    leeway->ahead = tt_least(leeway->ahead, start - at);
}

/* In the midst of words it stays where it is; a restless room's rustle in front of them is none. */
static void hold_in_words(struct leeway *leeway, const struct take_times *times, size_t run, double scrap_ms,
                          int64_t at)
{
    if (times->runs[run].loud_start_sample + tt_frames_from_ms(scrap_ms, times->rate_hz) <= at)
        leeway->back = -1;
}

void cut_place(const struct cut_room *room, const struct tt_heard *heard, struct part *gone)
{
    const struct take_times *times = &room->times;
    const size_t first = take_next_run(times, gone->start), next = take_next_run(times, gone->end);
    if (first == 0 || next == times->run_count || first == next)
        return;
    struct leeway leeway = join_leeway_most(times->rate_hz);
    const int64_t apart = tt_frames_from_ms(apart_least_ms, times->rate_hz);
    leeway.back = tt_least(leeway.back, gone->start - room->between.start - apart);
    leeway.ahead = tt_least(leeway.ahead, room->between.end - gone->end - apart);
    hold_behind(&leeway, times, first - 1, word_guard_after_ms(times->runs[first - 1].over_floor_db), gone->start);
    hold_before(&leeway, times, first, off_cut_words_ms, gone->start);
    hold_behind(&leeway, times, next - 1, off_cut_words_ms, gone->end);
    hold_before(&leeway, times, next, off_next_line_ms, gone->end);
    hold_in_words(&leeway, times, first, scrap_most_ms, gone->start);
    hold_in_words(&leeway, times, next, 0, gone->end);
    for (size_t i = 0; i < room->sound_count; i++)
        join_hold_beside(&leeway, &room->sounds[i].part, gone);
    join_place(heard, &leeway, gone);
}
