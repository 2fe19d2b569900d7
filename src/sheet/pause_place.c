/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/pause_place.h"

#include "base/least.h"
#include "base/units.h"
#include "sheet/join_place.h"
#include "sheet/word_guards.h"

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

void pause_place(const struct pause *pause, const struct tt_heard *heard, struct part *gone)
{
    if (pause->is_head || pause->is_tail || pause->cut_count > 0)
        return;
    const struct leeway leeway = leeway_of(pause, &heard->facts, gone);
    join_place(heard, &leeway, gone);
}
