/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/totals.h"

#include <math.h>
#include <string.h>

static bool is_known(const struct tt_take_report *take) { return !take->has_failed && take->is_heard; }

bool tt_take_is_empty(const struct tt_take_report *take)
{
    return is_known(take) && !take->has_voice && take->map->count == 0;
}

const char *tt_take_status(const struct tt_take_report *take)
{
    if (take->has_failed) return "failed";
    if (tt_take_is_empty(take)) return "empty";
    return take->has_voice ? "done" : "planned";
}

double tt_take_before_s(const struct tt_take_report *take)
{
    if (!is_known(take) || take->heard->facts.rate_hz <= 0) return NAN;
    return (double)take->heard->facts.frame_count / take->heard->facts.rate_hz;
}

double tt_take_after_s(const struct tt_take_report *take)
{
    if (take->has_failed) return NAN;
    if (take->has_voice && take->out_rate_hz > 0) return (double)take->out_frames / take->out_rate_hz;
    if (!is_known(take) || take->map->rate_hz <= 0) return NAN;
    return take->map->count == 0 ? 0 : (double)take->map->out_samples / take->map->rate_hz;
}

double tt_take_removed_s(const struct tt_take_report *take)
{
    if (!is_known(take) || take->heard->facts.rate_hz <= 0) return NAN;
    int64_t gone = take->heard->facts.frame_count;
    for (size_t i = 0; i < take->map->count; i++) gone -= take->map->stretches[i].source_end - take->map->stretches[i].source_start;
    return (double)gone / take->heard->facts.rate_hz;
}

struct tt_totals tt_session_totals(const struct tt_session_report *session)
{
    struct tt_totals totals = { 0 };
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        double before_s = tt_take_before_s(take), after_s = tt_take_after_s(take), removed_s = tt_take_removed_s(take);
        totals.failed += take->has_failed;
        totals.empty += tt_take_is_empty(take);
        totals.questions += tt_report_questions(take);
        if (isfinite(before_s)) totals.before_s += before_s;
        if (isfinite(after_s)) totals.after_s += after_s;
        if (isfinite(removed_s)) totals.removed_s += removed_s;
    }
    return totals;
}
