/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Loudness: the gain of every take is decided from what was heard, before anything is rendered; evening works from line
 * to line while rendering. */
#include "stages/loudness.h"

#include <math.h>
#include <stdlib.h>

#include "base/median.h"
#include "base/units.h"
#include "dsp/loudness.h"
#include "dsp/meter.h"
#include "stages/stage.h"

static const double apart_lu = 3.0;        /* takes further from the others get a gain of their own */
static const double common_slack_lu = 0.2; /* a stored common gain moves only when it is off by more */

double tt_channel_weight(const struct tt_settings *settings)
{
    return settings->deliver.channels == TT_CHANNELS_DUAL ? 2.0 : 1.0;
}

static double wanted_level(const struct tt_settings *settings)
{
    return settings->loudness.aim == TT_AIM_RMS ? settings->loudness.target_rms_dbfs : settings->loudness.target_lufs;
}

double tt_gain_to_target_db(const struct tt_levels *levels, const struct tt_settings *settings)
{
    double is = settings->loudness.aim == TT_AIM_RMS ? levels->rms_dbfs : levels->integrated_lufs;
    return isfinite(is) ? wanted_level(settings) - is : NAN;
}

/* The 100 ms steps of a take whose middle stays, appended to steps. */
static size_t kept_steps(const struct tt_gain_take *take, float *steps)
{
    const struct tt_heard *heard = take->heard;
    const double step_samples = heard->facts.rate_hz * (TT_HEARD_STEP_MS / 1000.0);
    size_t count = 0, at = 0;
    for (size_t i = 0; i < heard->step_count && at < take->map->count; i++) {
        int64_t middle = (int64_t)((i + 0.5) * step_samples);
        while (at < take->map->count && take->map->stretches[at].source_end <= middle)
            at++;
        if (at < take->map->count && take->map->stretches[at].source_start <= middle)
            steps[count++] = heard->steps[i];
    }
    return count;
}

/* Gains are kept in text files between runs: whole ten-thousandths of a dB come back as they were. */
static double kept_gain_db(double gain_db) { return round(gain_db * 1e4) / 1e4; }

/* The mean square behind K-weighting and behind RMS differ by the voice's colour; with aim = rms the offset of the
 * takes as recorded stands in. */
static double expected_level(double lufs, const struct tt_heard *heard, const struct tt_settings *settings)
{
    if (settings->loudness.aim == TT_AIM_LUFS || !isfinite(heard->facts.before.integrated_lufs))
        return lufs;
    return lufs + heard->facts.before.rms_dbfs - heard->facts.before.integrated_lufs;
}

/* How loud each take would be without a gain. steps: room for those of all takes. */
static void expect_levels(struct tt_gain_take *takes, size_t count, const struct tt_settings *settings, float *steps)
{
    for (size_t i = 0; i < count; i++) {
        struct tt_gain_take *take = &takes[i];
        const double lufs = tt_loudness_of_steps(steps, kept_steps(take, steps), tt_channel_weight(settings));
        /* A room without a voice has no say in the gain, and none of its own. */
        take->expected_lufs = take->heard->run_count > 0 ? expected_level(lufs, take->heard, settings) : -INFINITY;
        take->gain_db = NAN;
        take->is_apart = false;
    }
}

/* The level of all that are not apart together, as one programme; median_lufs where too little of them is known. */
static double level_together(const struct tt_gain_take *takes, size_t count, const struct tt_settings *settings,
                             double median_lufs, float *steps)
{
    double rms_offset = 0;
    size_t step_count = 0, offset_count = 0;
    for (size_t i = 0; i < count; i++) {
        if (takes[i].is_apart || !isfinite(takes[i].expected_lufs))
            continue;
        step_count += kept_steps(&takes[i], steps + step_count);
        rms_offset += expected_level(0, takes[i].heard, settings);
        offset_count++;
    }
    const double together = tt_loudness_of_steps(steps, step_count, tt_channel_weight(settings));
    return isfinite(together) && offset_count ? together + rms_offset / (double)offset_count : median_lufs;
}

static double common_gain(struct tt_gain_take *takes, size_t count, const struct tt_settings *settings,
                          double earlier_common_db, double median_lufs, float *steps)
{
    const double wanted = wanted_level(settings);
    for (size_t i = 0; i < count; i++)
        takes[i].is_apart = isfinite(takes[i].expected_lufs) && fabs(takes[i].expected_lufs - median_lufs) > apart_lu;
    double common_db = kept_gain_db(wanted - level_together(takes, count, settings, median_lufs, steps));
    if (isfinite(earlier_common_db) && fabs(earlier_common_db - common_db) <= common_slack_lu)
        common_db = earlier_common_db;
    for (size_t i = 0; i < count; i++)
        takes[i].gain_db = takes[i].is_apart ? kept_gain_db(wanted - takes[i].expected_lufs) : common_db;
    return common_db;
}

bool tt_loudness_decide(struct tt_gain_take *takes, size_t count, const struct tt_settings *settings,
                        double earlier_common_db, double *common_db, struct tt_error *err)
{
    size_t step_count = 1, level_count = 0;
    *common_db = NAN;
    for (size_t i = 0; i < count; i++)
        step_count += takes[i].heard->step_count;
    float *steps = malloc(step_count * sizeof *steps);
    double *levels = malloc((count + 1) * sizeof *levels);
    const bool ok = steps && levels;
    if (ok)
        expect_levels(takes, count, settings, steps);
    for (size_t i = 0; ok && i < count; i++)
        if (isfinite(takes[i].expected_lufs))
            levels[level_count++] = takes[i].expected_lufs;
    if (settings->loudness.across == TT_ACROSS_SESSION && level_count > 0)
        *common_db = common_gain(takes, count, settings, earlier_common_db, tt_median(levels, level_count), steps);
    free(steps);
    free(levels);
    return ok || tt_fail_memory(err);
}

/* ---- evening: each line is moved towards the take's median line by at most even_db; gains change in pauses only ----
 */

struct evened_run {
    int64_t start, end;
    float gain;
};
struct evening {
    struct evened_run *runs;
    size_t count, at;
    int64_t position;
};

static void evening_destroy(void *opaque)
{
    struct evening *state = opaque;
    free(state->runs);
    free(state);
}

/* Within a run its gain; between two, along a line in the middle of the pause from one to the other. */
static float evening_gain(const struct evening *state, size_t at, int64_t sample)
{
    if (at >= state->count)
        return state->runs[state->count - 1].gain;
    if (at == 0 || sample >= state->runs[at].start)
        return state->runs[at].gain;
    const struct evened_run *before = &state->runs[at - 1], *after = &state->runs[at];
    double share = (double)(sample - before->end) / (double)(after->start - before->end);
    return (float)(before->gain + (after->gain - before->gain) * share);
}

static size_t evening_run(void *opaque, const float *samples, size_t count, float *output)
{
    struct evening *state = opaque;
    for (size_t i = 0; i < count; i++, state->position++) {
        while (state->at < state->count && state->runs[state->at].end <= state->position)
            state->at++;
        output[i] = samples[i] * evening_gain(state, state->at, state->position);
    }
    return count;
}

static bool loudness_render_open(const struct tt_rendering *rendering, struct tt_link *link, struct tt_error *err)
{
    const struct tt_heard *heard = rendering->heard;
    const double most_db = rendering->settings->loudness.even_db;
    if (most_db <= 0 || heard->run_count == 0)
        return true;
    struct evening *state = calloc(1, sizeof *state);
    double *levels = malloc(heard->run_count * sizeof *levels);
    if (!state || !levels || !(state->runs = malloc(heard->run_count * sizeof *state->runs))) {
        free(levels);
        free(state);
        return tt_fail_memory(err);
    }
    for (size_t i = 0; i < heard->run_count; i++)
        levels[i] = heard->runs[i].level_db;
    double median = tt_median(levels, heard->run_count);
    for (size_t i = 0; i < heard->run_count; i++) {
        double db = median - heard->runs[i].level_db;
        db = db > most_db ? most_db : db < -most_db ? -most_db : db;
        state->runs[i] = (struct evened_run){heard->runs[i].start_sample, heard->runs[i].end_sample,
                                             (float)tt_amplitude_from_db(db)};
    }
    state->count = heard->run_count;
    state->position = rendering->start_sample;
    free(levels);
    *link = (struct tt_link){.state = state, .run = evening_run, .destroy = evening_destroy};
    return true;
}

const struct tt_stage tt_stage_loudness = {
    .name = "loudness",
    .summary = "brings the voice to the target and keeps true peaks under the ceiling",
    .render_open = loudness_render_open,
};
