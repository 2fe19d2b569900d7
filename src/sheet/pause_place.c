/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/pause_place.h"

#include "base/least.h"
#include "base/units.h"
#include "sheet/join_place.h"
#include "sheet/word_guards.h"

/* A breath is heard to begin later than it does: of 1,437 in steady rooms by 29 ms in the median, nine in ten within
 * this. */
static const double faint_start_ms = 100;
/* To spare that, the two sides of a join may be so much less alike: with any, ten joins more of 470 in a restless room
 * stood out, with this one of 427. */
static const float faint_worth_db = 1;

/* The margins are for where sounds leave no other choice; here the guards count. */
static struct leeway leeway_of(const struct pause *pause, const struct tt_heard_facts *facts, const struct part *gone)
{
    const int rate_hz = facts->rate_hz;
    const double over_db = facts->speech_dbfs - facts->floor_dbfs;
    const int64_t before =
                      tt_most(pause->margin_before_samples, tt_frames_from_ms(word_guard_after_ms(over_db), rate_hz)),
                  after =
                      tt_most(pause->margin_after_samples, tt_frames_from_ms(word_guard_before_ms(over_db), rate_hz));
    struct leeway leeway = join_leeway_most(rate_hz);
    leeway.back = tt_least(leeway.back, gone->start - pause->part.start - before);
    leeway.ahead = tt_least(leeway.ahead, pause->part.end - gone->end - after);
    for (size_t i = 0; i < pause->sound_count; i++)
        join_hold_beside(&leeway, &pause->sounds[i].part, gone);
    return leeway;
}

/* Moves what goes, and bounds its leeway, so that it ends in front of a breath's faint start. */
static void spare_faint_start(const struct pause_sound *sound, int rate_hz, struct leeway *leeway, struct part *gone)
{
    const int64_t room = sound->part.start - tt_frames_from_ms(faint_start_ms, rate_hz) - gone->end;
    if (!sound->is_breath || sound->part.start < gone->end)
        return;
    if (room < 0 && leeway->back > 0) {
        const int64_t back = tt_least(-room, leeway->back);
        gone->start -= back;
        gone->end -= back;
        leeway->back -= back;
    }
    leeway->ahead = tt_least(leeway->ahead, tt_most(room, 0));
}

void pause_place(const struct pause *pause, const struct tt_heard *heard, struct part *gone)
{
    if (pause->is_head || pause->is_tail || pause->cut_count > 0)
        return;
    struct leeway leeway = leeway_of(pause, &heard->facts, gone), sparing = leeway;
    struct part spared = *gone;
    for (size_t i = 0; i < pause->sound_count; i++)
        spare_faint_start(&pause->sounds[i], heard->facts.rate_hz, &sparing, &spared);
    const float apart_db = join_place(heard, &leeway, gone);
    if (join_place(heard, &sparing, &spared) <= apart_db + faint_worth_db)
        *gone = spared;
}
