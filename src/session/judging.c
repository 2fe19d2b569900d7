/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/judging.h"

#include <math.h>
#include <stdio.h>

#include "base/targets.h"
#include "pipeline/judge.h"

static bool judge(const struct tt_run_state *run, const struct tt_after *after, int rate_hz, int64_t frames,
                  struct tt_judgement *judgement)
{
    const struct tt_target *target = run->options->target ? tt_target_find(run->options->target) : NULL;
    if (!target)
        return false;
    struct tt_levels levels = after->levels;
    levels.duration_s = (double)frames / rate_hz;
    struct tt_judged judged = {
        .levels = &levels, .floor_dbfs = after->floor_dbfs, .rate_hz = rate_hz, .settings = &run->settings};
    tt_judge(target, &judged, judgement);
    return true;
}

void tt_session_judge_track(struct tt_run_state *run, const char *name, const struct tt_after *after, int rate_hz,
                            int64_t frames)
{
    struct tt_judgement judgement;
    if (!judge(run, after, rate_hz, frames, &judgement))
        return;
    for (size_t i = 0; i < judgement.failed_count; i++)
        tt_run_warn(run, "target-fails", "%s fails %s: %s", name, run->options->target, judgement.lines[i]);
}

/* Loudness is delivered to within this (README). */
static const double missed_db = 0.05;

bool tt_held_back_say(const struct tt_settings *settings, double missing_db, const char *under, char *text, size_t size)
{
    if (!(missing_db >= missed_db)) /* nor what cannot be told */
        return false;
    snprintf(text, size,
             "its peaks would need more than %.1f dB of limiting; it stays %.1f dB under %s: allow more "
             "(loudness.limit_most_db), or aim lower",
             settings->loudness.limit_most_db, missing_db, under);
    return true;
}

void tt_session_judge_voices(struct tt_run_state *run)
{
    if (run->settings.loudness.across != TT_ACROSS_TAKE)
        return;
    for (size_t t = 0; t < run->take_count; t++) {
        struct tt_take *take = &run->takes[t];
        struct tt_judgement judgement;
        if (take->has_failed || !take->is_used || !take->has_voice ||
            !judge(run, &take->after, take->out_rate_hz, take->out_frames, &judgement))
            continue;
        for (size_t i = 0; i < judgement.failed_count; i++)
            tt_take_warn(take, "target-fails", NAN, "fails %s: %s", run->options->target, judgement.lines[i]);
    }
}
