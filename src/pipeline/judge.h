/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A delivered file against a target's limits. */
#ifndef TT_PIPELINE_JUDGE_H
#define TT_PIPELINE_JUDGE_H

#include "base/targets.h"
#include "dsp/meter.h"

struct tt_judged {
    const struct tt_levels *levels;
    double floor_dbfs; /* NAN: not measurable, not judged */
    int rate_hz;
    const struct tt_settings *settings; /* it was made with; NULL: not known, advice stays general */
};
enum { TT_MOST_JUDGEMENTS = 8 };
struct tt_judgement {
    const char *failed[TT_MOST_JUDGEMENTS]; /* names of the figures, as in JSON */
    char lines[TT_MOST_JUDGEMENTS]
              [240]; /* what is, what must be, and which setting helps or that it must be recorded again */
    size_t failed_count;
};
void tt_judge(const struct tt_target *target, const struct tt_judged *judged, struct tt_judgement *judgement);

#endif
