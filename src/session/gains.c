/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The gain of each take: one for all that were recorded alike, one of its own for what lies apart, and for a pick-up
 * what fits it to the lines around it. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "session/steps.h"
#include "stages/loudness.h"

static void find_gain_aim(struct tt_run_state *run)
{
    const struct tt_settings *settings = &run->settings;
    snprintf(run->gain_aim, sizeof run->gain_aim, "aim %d lufs %.6g rms %.6g channels %d", (int)settings->loudness.aim,
             settings->loudness.target_lufs, settings->loudness.target_rms_dbfs, (int)settings->deliver.channels);
}

static bool is_host(const struct tt_take *take)
{
    return !take->is_pickup && tt_take_takes_part(take) && take->has_map && take->map.count > 0;
}

/* The take that a pick-up goes into: what is joined to it in the running order, before it, else (from the start of a
 * take on) after it. */
static const struct tt_take *host_of(const struct tt_run_state *run, size_t index)
{
    for (size_t i = index; i > 0 && run->takes[i].joins_before; i--)
        if (is_host(&run->takes[i - 1]))
            return &run->takes[i - 1];
    for (size_t i = index + 1; i < run->take_count && run->takes[i].joins_before; i++)
        if (is_host(&run->takes[i]))
            return &run->takes[i];
    /* In place of a whole row nothing is joined to it: the nearest take has to do. */
    for (size_t i = index; i-- > 0;)
        if (is_host(&run->takes[i]))
            return &run->takes[i];
    for (size_t i = index + 1; i < run->take_count; i++)
        if (is_host(&run->takes[i]))
            return &run->takes[i];
    return NULL;
}

/* A pick-up sounds as loud as the lines around it: no common gain does that for another day's distance to the
 * microphone. gains[] in the order of the takes that take part. */
static void fit_pickups(struct tt_run_state *run, const struct tt_gain_take *gains)
{
    size_t at = 0, host_at;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!tt_take_takes_part(take))
            continue;
        const struct tt_gain_take *own = &gains[at++];
        const struct tt_take *host = take->is_pickup && isfinite(take->gain_db) ? host_of(run, i) : NULL;
        if (!host)
            continue;
        host_at = 0;
        for (const struct tt_take *other = run->takes; other != host; other++)
            host_at += tt_take_takes_part(other);
        if (!isfinite(own->expected_lufs) || !isfinite(gains[host_at].expected_lufs) ||
            !isfinite(gains[host_at].gain_db))
            continue;
        const double fitted_db = gains[host_at].gain_db + gains[host_at].expected_lufs - own->expected_lufs;
        take->gain_db = round(fitted_db * 1000) / 1000;
        take->is_apart = true;
        tt_take_warn(take, "pick-up", NAN,
                     "a pick-up, turned %.1f dB %s than the other takes to sound as loud as the lines of %s beside it: "
                     "listen whether it fits",
                     fabs(take->gain_db - run->common_gain_db),
                     take->gain_db < run->common_gain_db ? "lower" : "higher", host->recording->name);
    }
}

static bool decide_gains(struct tt_run_state *run, struct tt_error *err)
{
    struct tt_gain_take *gains = calloc(run->take_count + 1, sizeof *gains);
    if (!gains)
        return tt_fail_memory(err);
    size_t count = 0;
    for (size_t i = 0; i < run->take_count; i++)
        if (tt_take_takes_part(&run->takes[i]))
            gains[count++] = (struct tt_gain_take){.heard = &run->takes[i].heard, .map = &run->takes[i].map};
    const struct tt_settings *settings = &run->settings;
    double earlier = strcmp(run->gain_aim, run->earlier_gain_aim) == 0 && !run->options->is_again
                         ? run->earlier_common_gain_db
                         : NAN;
    bool ok = tt_loudness_decide(gains, count, settings, earlier, &run->common_gain_db, err);
    count = 0;
    for (size_t i = 0; ok && i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!tt_take_takes_part(take))
            continue;
        take->gain_db = gains[count].gain_db;
        take->is_apart = gains[count].is_apart;
        if (take->is_apart && !take->is_pickup)
            tt_take_warn(
                take, "level-apart", NAN,
                "its voice is %.1f LU %s than the other takes; it got a gain of its own: listen whether it fits",
                fabs(take->gain_db - run->common_gain_db), take->gain_db > run->common_gain_db ? "softer" : "louder");
        count++;
    }
    if (ok)
        fit_pickups(run, gains);
    free(gains);
    return ok;
}

bool tt_session_decide_gains(struct tt_run_state *run, struct tt_error *err)
{
    find_gain_aim(run);
    if (!run->is_held)
        return decide_gains(run, err);
    tt_session_held_gains(run);
    return true;
}
