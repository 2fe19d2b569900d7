/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where a narrator reads much faster or slower than in the rest of the session. */
#include <math.h>
#include <stdlib.h>

#include "base/text.h"
#include "base/units.h"
#include "session/steps.h"
#include "sheet/pace.h"

enum { TOLD_MOST = 3 }; /* of one take */

static void tell(struct tt_take *take, const struct tt_pace *pace, double usual, double least, double most)
{
    const int rate_hz = take->heard.facts.rate_hz;
    int told = 0;
    for (size_t i = 0; i < pace->count && told < TOLD_MOST; i++) {
        const struct tt_pace_stretch *stretch = &pace->stretches[i];
        if (stretch->syllables_per_s >= least && stretch->syllables_per_s <= most)
            continue;
        char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
        double start_ms = tt_ms_from_frames(stretch->start_sample, rate_hz);
        tt_time_format((int64_t)start_ms, start);
        tt_time_format((int64_t)tt_ms_from_frames(stretch->end_sample, rate_hz), end);
        tt_take_warn(take, "pace", start_ms / 1000,
                     "read %s than the rest from %s to %s: about %.1f syllables a second, usually %.1f",
                     stretch->syllables_per_s > most ? "faster" : "slower", start, end, stretch->syllables_per_s,
                     usual);
        told++;
    }
}

bool tt_session_pace(struct tt_run_state *run, struct tt_error *err)
{
    struct tt_pace *paces = calloc(run->take_count + 1, sizeof *paces);
    bool ok = paces != NULL || tt_fail_memory(err);
    size_t count = 0, filled = 0;
    for (size_t i = 0; ok && i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        take->pace_syllables_per_s = NAN;
        if (!tt_take_is_decided(take))
            continue;
        ok = tt_pace_find(&take->heard, &take->map, &paces[i], err);
        take->pace_syllables_per_s = paces[i].syllables_per_s;
        count += paces[i].count;
    }
    double *all = malloc((count + 1) * sizeof *all), usual, least, most;
    ok = ok && (all || tt_fail_memory(err));
    for (size_t i = 0; ok && i < run->take_count; i++)
        for (size_t s = 0; s < paces[i].count; s++)
            all[filled++] = paces[i].stretches[s].syllables_per_s;
    if (ok && tt_pace_own_range(all, filled, &usual, &least, &most))
        for (size_t i = 0; i < run->take_count; i++)
            tell(&run->takes[i], &paces[i], usual, least, most);
    for (size_t i = 0; paces && i < run->take_count; i++)
        tt_pace_free(&paces[i]);
    free(all);
    free(paces);
    return ok;
}
