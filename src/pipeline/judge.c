/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/judge.h"

#include <math.h>
#include <stdio.h>

/* A gate that takes more than this off makes a voice stand in a hole. Common practice, no source. */
static const double depth_most_db = 30;

static const char for_target[] = "clean the takes with --for this target";

/* Readings are judged at the precision that meters show: a tenth (EBU Tech 3341, 2.4). */
static double shown(double value) { return round(value * 10) / 10; }

/* figure: its name in JSON; words: what a person calls it. */
static void check(struct tt_judgement *judgement, const char *figure, const char *words, const char *unit, double value,
                  double least, double most, const char *help)
{
    bool is_low = !isnan(least) && !(shown(value) >= least), is_high = !isnan(most) && !(shown(value) <= most);
    if ((!is_low && !is_high) || judgement->failed_count == TT_MOST_JUDGEMENTS)
        return;
    char *line = judgement->lines[judgement->failed_count];
    const size_t size = sizeof judgement->lines[0];
    const char *bound = is_low ? "at least" : "at most";
    if (isinf(value))
        snprintf(line, size, "the %s cannot be measured, must be %s %.1f %s: there is not enough sound in the file",
                 words, bound, is_low ? least : most, unit);
    else
        snprintf(line, size, "the %s is %.1f %s, must be %s %.1f: %s", words, value, unit, bound, is_low ? least : most,
                 help);
    judgement->failed[judgement->failed_count++] = figure;
}

static void floor_help(const struct tt_target *target, const struct tt_judged *judged, char *help, size_t size)
{
    double over_db = judged->floor_dbfs - target->most_floor_dbfs;
    if (!judged->settings) {
        snprintf(help, size, "raise gate.depth_db, or record again in a quieter room");
        return;
    }
    double depth_db = ceil(judged->settings->gate.depth_db + over_db + 1);
    if (depth_db <= depth_most_db)
        snprintf(help, size, "set gate.depth_db to %.0f, or record again in a quieter room", depth_db);
    else
        snprintf(help, size,
                 "record again in a quieter room or nearer to the microphone: gate.depth_db = %.0f would be needed, "
                 "and that can be heard",
                 depth_db);
}

static const char *level_help(const struct tt_target *target, const struct tt_judged *judged, double value,
                              double least)
{
    const struct tt_settings *settings = judged->settings;
    if (!settings)
        return for_target;
    bool aims_elsewhere = (settings->loudness.aim == TT_AIM_RMS) != !isnan(target->most_rms_dbfs);
    if (aims_elsewhere || settings->loudness.limit_most_db == 0 || !(value < least))
        return aims_elsewhere ? "set loudness.aim to what the target asks for"
                              : "look at loudness.target_lufs and loudness.target_rms_dbfs";
    return "its peaks hold it down: raise loudness.limit_most_db, or record again with steadier peaks";
}

void tt_judge(const struct tt_target *target, const struct tt_judged *judged, struct tt_judgement *judgement)
{
    const struct tt_levels *levels = judged->levels;
    const char *peak_help = judged->settings ? "lower loudness.ceiling_dbtp" : for_target;
    char help[160];
    *judgement = (struct tt_judgement){0};
    check(judgement, "integrated_lufs", "integrated loudness", "LUFS", levels->integrated_lufs, target->least_lufs,
          target->most_lufs, level_help(target, judged, levels->integrated_lufs, target->least_lufs));
    check(judgement, "rms_dbfs", "RMS", "dBFS", levels->rms_dbfs, target->least_rms_dbfs, target->most_rms_dbfs,
          level_help(target, judged, levels->rms_dbfs, target->least_rms_dbfs));
    check(judgement, "max_true_peak_dbtp", "true peak", "dBTP", levels->max_true_peak_dbtp, NAN, target->most_dbtp,
          peak_help);
    check(judgement, "sample_peak_dbfs", "sample peak", "dBFS", levels->sample_peak_dbfs, NAN,
          target->most_sample_peak_dbfs, peak_help);
    if (!isnan(judged->floor_dbfs)) {
        floor_help(target, judged, help, sizeof help);
        check(judgement, "noise_floor_dbfs", "noise floor", "dBFS", judged->floor_dbfs, NAN, target->most_floor_dbfs,
              help);
    }
    check(judgement, "minutes", "length", "minutes", levels->duration_s / 60, NAN, target->most_minutes,
          "divide it into pieces (column piece of order.csv)");
    if (target->rate_hz && judged->rate_hz != target->rate_hz && judgement->failed_count < TT_MOST_JUDGEMENTS) {
        snprintf(judgement->lines[judgement->failed_count], sizeof judgement->lines[0],
                 "the sample rate is %d Hz, must be %d Hz: %s", judged->rate_hz, target->rate_hz,
                 judged->settings ? "set deliver.rate_hz to it" : for_target);
        judgement->failed[judgement->failed_count++] = "rate_hz";
    }
}
