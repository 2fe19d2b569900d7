/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Marked frames become runs, guards and states. */
#include <string.h>

#include "base/grow.h"
#include "base/units.h"
#include "dsp/listener_parts.h"

static const double bridged_ms = 100.0;          /* methods */
static const double alone_ms = 250.0;            /* a sound this far from all others belongs to no word */
static const double word_most_alone_ms = 1200.0; /* longer ones are never taken for a noise */
/* What a room's measurement should keep away from (methods: 120 ms before, 200 ms after at 20 dB). */
static const double guard_before_ms = 120.0, guard_after_ms = 200.0, guard_sound_ms = 80.0;
static const int voiced_frames_least = 4;
/* A knock rises at once and is 15 dB down again soon after; the shortest syllables of a word alone last longer (common
 * practice, no source). */
static const double stroke_rise_ms = 32.0, stroke_most_ms = 115.0;
static const float stroke_fall_db = 15.0f;

static void add_frame(struct tt_listener *l, int64_t frame)
{
    struct tt_open_run *run = &l->open_run;
    const struct tt_heard_frame *heard = tt_heard_at(l, frame);
    int step = tt_level_step(tt_level_db_of(heard->whole));
    l->run_counts[step]++;
    l->run_powers[step] += heard->whole;
    double over = (double)tt_power_of_level(tt_room_at(l, frame)->all_db - heard->all_db);
    l->run_floors[step] += heard->whole * (over < 1.0 ? over : 1.0);
    run->frames++;
    run->voiced_frames += heard->is_voiced;
}

static void open_run(struct tt_listener *l, int64_t frame)
{
    struct tt_open_run *run = &l->open_run;
    int64_t last_end = run->last_end;
    memset(l->run_counts, 0, TT_LEVEL_STEPS * sizeof *l->run_counts);
    memset(l->run_powers, 0, TT_LEVEL_STEPS * sizeof *l->run_powers);
    memset(l->run_floors, 0, TT_LEVEL_STEPS * sizeof *l->run_floors);
    *run = (struct tt_open_run){.is_open = true, .start = frame, .end = frame, .last_end = last_end};
}

/* Mean power of the louder half of the frames, and the room's share of it. */
static struct tt_run run_of(const struct tt_listener *l)
{
    const struct tt_open_run *open = &l->open_run;
    double wanted = 0.5 * open->frames, count = 0.0, power = 0.0, room = 0.0;
    for (int step = TT_LEVEL_STEPS - 1; step >= 0 && count < wanted; step--) {
        if (l->run_counts[step] == 0)
            continue;
        double here = l->run_counts[step], part = count + here > wanted ? (wanted - count) / here : 1.0;
        count += part * here;
        power += part * l->run_powers[step];
        room += part * l->run_floors[step];
    }
    struct tt_run run = {.start_sample = tt_listener_sample(l, open->start),
                         .end_sample = tt_listener_sample(l, open->end)};
    bool is_kept = l->built - open->start < l->ring_mask;
    run.loud_start_sample =
        is_kept ? tt_listener_sample(l, tt_listener_loud_edge(l, open->start, open->end, 1)) : run.start_sample;
    run.loud_end_sample = tt_listener_sample(l, tt_listener_loud_edge(l, open->end - 1, open->start - 1, -1) + 1);
    if (run.loud_end_sample > run.end_sample)
        run.loud_end_sample = run.end_sample;
    run.level_db = tt_level_db_of((float)(count > 0.0 ? power / count : 0.0));
    run.over_floor_db = room > 0.0 && power > 0.0 ? (float)tt_db_from_power(power / room) : 100.0f;
    run.voiced_share = open->frames > 0 ? (float)open->voiced_frames / (float)open->frames : 0.0f;
    return run;
}

static bool is_stroke(const struct tt_listener *l, int64_t start, int64_t end)
{
    int64_t top = start, loud = 0, first = -1;
    for (int64_t i = start; i < end; i++)
        if (tt_heard_at(l, i)->all_db > tt_heard_at(l, top)->all_db)
            top = i;
    for (int64_t i = start; i < end; i++) {
        if (tt_heard_at(l, i)->all_db < tt_heard_at(l, top)->all_db - stroke_fall_db)
            continue;
        if (first < 0)
            first = i;
        loud++;
    }
    return top - first <= tt_listener_frames(l, stroke_rise_ms) && loud <= tt_listener_frames(l, stroke_most_ms);
}

/* Only what stands alone may be no speech after all. */
static bool is_no_speech(const struct tt_listener *l, int64_t next_start)
{
    const struct tt_open_run *run = &l->open_run;
    int64_t alone = tt_listener_frames(l, alone_ms);
    if (run->start - run->last_end < alone || next_start - run->end < alone)
        return false;
    if (run->end - run->start > tt_listener_frames(l, word_most_alone_ms))
        return false;
    return run->voiced_frames < voiced_frames_least || is_stroke(l, run->start, run->end);
}

static bool close_run(struct tt_listener *l, int64_t next_start, struct tt_error *err)
{
    struct tt_open_run *run = &l->open_run;
    run->is_open = false;
    if (is_no_speech(l, next_start)) {
        for (int64_t i = run->start; i < run->end; i++)
            tt_heard_at(l, i)->heard_as = TT_HEARD_SOUND;
        run->last_end = run->end;
        return tt_listener_note_odd_sound(l, run->start, run->end, err);
    }
    struct tt_run *runs = tt_grow(l->runs, l->run_count, &l->run_room, sizeof *runs, err);
    if (!runs)
        return false;
    l->runs = runs;
    l->runs[l->run_count++] = run_of(l);
    tt_listener_find_over_words(l, run, l->runs[l->run_count - 1].level_db);
    run->last_end = run->end;
    return true;
}

/* A run ends when nothing follows within the bridge, or a sound does; whether it stood alone is known a little later.
 */
static bool build_frame(struct tt_listener *l, int64_t frame, struct tt_error *err)
{
    struct tt_open_run *run = &l->open_run;
    const uint8_t as = tt_heard_at(l, frame)->heard_as;
    if (as == TT_HEARD_SPEECH) {
        bool bridged = run->is_open && frame - run->end <= tt_listener_frames(l, bridged_ms);
        for (int64_t i = run->end; bridged && i < frame; i++)
            bridged = tt_heard_at(l, i)->heard_as != TT_HEARD_SOUND;
        if (run->is_open && !bridged && !close_run(l, frame, err))
            return false;
        if (!run->is_open)
            open_run(l, frame);
        for (int64_t i = run->end; i < frame; i++) {
            tt_heard_at(l, i)->heard_as = TT_HEARD_SPEECH;
            add_frame(l, i);
        }
        add_frame(l, frame);
        run->end = frame + 1;
        return true;
    }
    tt_listener_note_rest(&l->rest, tt_heard_at(l, frame)->over_db);
    if (run->is_open && frame - run->end >= tt_listener_frames(l, alone_ms))
        return close_run(l, frame, err);
    if (as == TT_HEARD_SOUND && !run->is_open)
        run->last_end = frame + 1;
    return true;
}

static void guard_back(struct tt_listener *l, int64_t frame, double ms, enum tt_frame_state state)
{
    int64_t from = frame - tt_listener_frames(l, ms);
    if (from < l->settled)
        from = l->settled;
    for (int64_t i = from; i < frame; i++)
        if (tt_heard_at(l, i)->state == TT_FRAME_QUIET)
            tt_heard_at(l, i)->state = (uint8_t)state;
}

static void walk_frame(struct tt_listener *l, int64_t frame)
{
    struct tt_heard_frame *heard = tt_heard_at(l, frame);
    if (heard->heard_as == TT_HEARD_SPEECH) {
        if (l->last_speech != frame - 1)
            guard_back(l, frame, guard_before_ms, TT_FRAME_SPEECH);
        heard->state = TT_FRAME_SPEECH;
        l->last_speech = frame;
    } else if (heard->heard_as == TT_HEARD_SOUND) {
        if (l->last_sound != frame - 1)
            guard_back(l, frame, guard_sound_ms, TT_FRAME_SOUND);
        heard->state = TT_FRAME_SOUND;
        l->last_sound = frame;
    } else if (heard->is_silent) {
        heard->state = TT_FRAME_SILENT;
    } else if (frame - l->last_speech <= tt_listener_frames(l, guard_after_ms)) {
        heard->state = TT_FRAME_SPEECH;
    } else {
        heard->state = frame - l->last_sound <= tt_listener_frames(l, guard_sound_ms) ? TT_FRAME_SOUND : TT_FRAME_QUIET;
    }
}

bool tt_listener_build_runs(struct tt_listener *l, int64_t sorted, bool is_end, struct tt_error *err)
{
    for (; l->built < sorted; l->built++)
        if (!build_frame(l, l->built, err))
            return false;
    if (is_end && l->open_run.is_open && !close_run(l, l->built + tt_listener_frames(l, alone_ms), err))
        return false;
    int64_t undecided = tt_listener_frames(l, word_most_alone_ms + 2.0 * alone_ms);
    int64_t walk_to = is_end ? l->built : l->built - undecided;
    for (; l->walked < walk_to; l->walked++)
        walk_frame(l, l->walked);
    return true;
}
