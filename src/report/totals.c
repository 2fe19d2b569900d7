/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/totals.h"

#include <math.h>
#include <string.h>

static bool is_known(const struct tt_take_report *take) { return !take->has_failed && take->is_heard; }

size_t tt_take_row_count(const struct tt_take_report *take) { return is_known(take) ? take->sheet->count : 0; }

bool tt_take_is_empty(const struct tt_take_report *take)
{
    return is_known(take) && !take->has_voice && take->map->count == 0;
}

const char *tt_take_status(const struct tt_take_report *take)
{
    if (take->has_failed)
        return "failed";
    if (!take->is_heard)
        return "left out";
    if (tt_take_is_empty(take))
        return "empty";
    return take->has_voice ? "done" : "planned";
}

double tt_take_before_s(const struct tt_take_report *take)
{
    if (!is_known(take) || take->heard->facts.rate_hz <= 0)
        return NAN;
    return (double)(tt_heard_end(take->heard) - take->heard->from_sample) / take->heard->facts.rate_hz;
}

double tt_take_after_s(const struct tt_take_report *take)
{
    if (take->has_failed)
        return NAN;
    if (take->has_voice && take->out_rate_hz > 0)
        return (double)take->out_frames / take->out_rate_hz;
    if (!is_known(take) || take->map->rate_hz <= 0)
        return NAN;
    return take->map->count == 0 ? 0 : (double)take->map->out_samples / take->map->rate_hz;
}

double tt_take_removed_s(const struct tt_take_report *take)
{
    if (!is_known(take) || take->heard->facts.rate_hz <= 0)
        return NAN;
    int64_t gone = tt_heard_end(take->heard) - take->heard->from_sample;
    for (size_t i = 0; i < take->map->count; i++)
        gone -= take->map->stretches[i].source_end - take->map->stretches[i].source_start;
    return (double)gone / take->heard->facts.rate_hz;
}

struct tt_totals tt_session_totals(const struct tt_session_report *session)
{
    struct tt_totals totals = {0};
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        double before_s = tt_take_before_s(take), after_s = tt_take_after_s(take), removed_s = tt_take_removed_s(take);
        totals.failed += take->has_failed;
        totals.empty += tt_take_is_empty(take);
        totals.questions += tt_report_questions(take);
        if (isfinite(before_s))
            totals.before_s += before_s;
        if (isfinite(after_s))
            totals.after_s += after_s;
        if (isfinite(removed_s))
            totals.removed_s += removed_s;
    }
    return totals;
}

size_t tt_report_questions(const struct tt_take_report *take)
{
    size_t questions = 0;
    for (size_t i = 0; i < tt_take_row_count(take); i++)
        questions += take->sheet->rows[i].action == TT_DO_ASK;
    return questions;
}

static bool is_remark(const struct tt_take_report *take, const struct tt_warning *warning)
{
    for (size_t i = 0; is_known(take) && i < take->heard->remark_count; i++) {
        const struct tt_remark *remark = &take->heard->remarks[i];
        if (strcmp(remark->code, warning->code) == 0 && strcmp(remark->message, warning->message) == 0)
            return true;
    }
    return false;
}

bool tt_take_visit_warnings(const struct tt_take_report *take, tt_warning_visit *visit, void *context)
{
    for (size_t i = 0; is_known(take) && i < take->heard->remark_count; i++) {
        const struct tt_remark *remark = &take->heard->remarks[i];
        if (!visit(context, remark->code, remark->message, remark->at_s))
            return false;
    }
    for (size_t i = 0; !take->has_failed && i < take->warning_count; i++) {
        const struct tt_warning *warning = &take->warnings[i];
        if (!is_remark(take, warning) && !visit(context, warning->code, warning->message, warning->at_s))
            return false;
    }
    return true;
}

static bool count_one(void *context, const char *code, const char *message, double at_s)
{
    (void)code, (void)message, (void)at_s;
    ++*(size_t *)context;
    return true;
}

size_t tt_take_warning_count(const struct tt_take_report *take)
{
    size_t count = 0;
    tt_take_visit_warnings(take, count_one, &count);
    return count;
}
