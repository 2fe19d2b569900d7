/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/take_channels.h"

#include <stdio.h>

static bool choose_by_policy(const struct tt_settings *settings, int channel_count, struct tt_channel_choice *choice,
                             struct tt_error *err)
{
    int number = settings->take.channel == TT_CHANNEL_LEFT    ? 1
                 : settings->take.channel == TT_CHANNEL_RIGHT ? 2
                                                              : settings->take.channel_number;
    if (settings->take.channel == TT_CHANNEL_MIX) {
        *choice = (struct tt_channel_choice){.channel = channel_count > 1 ? -1 : 0};
        snprintf(choice->why, sizeof choice->why, "the mean of %d channels, as asked for", channel_count);
        return true;
    }
    if (channel_count == 1 && settings->take.channel != TT_CHANNEL_NUMBER)
        number = 1;
    if (number > channel_count)
        return tt_fail(
            err, TT_ERROR_INPUT,
            "has %d channel%s, there is no channel %d; write auto in take.channel, or for this take in order.csv",
            channel_count, channel_count == 1 ? "" : "s", number);
    *choice = (struct tt_channel_choice){.channel = number - 1};
    snprintf(choice->why, sizeof choice->why, channel_count == 1 ? "one channel" : "channel %d, as asked for", number);
    return true;
}

static bool takes_session_channel(const struct tt_take *take, int channel_count)
{
    return !take->has_failed && take->is_used && !take->own_settings && take->info.channel_count == channel_count;
}

static bool choose_for_take(struct tt_run_state *run, struct tt_take *take)
{
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct tt_error error = {0};
    struct tt_work work = {.run = run, .take = take, .what = "choosing the channel of"};
    int count = 0;
    const bool ok = tt_channels_survey(take->file->path, tt_work_goes_on, &work, stats, &count, &error);
    if (ok)
        take->channel = tt_channel_choose(stats, count);
    else
        tt_take_fail(run, take, &error);
    return ok;
}

/* auto chooses once for all takes with the same number of channels: on the longest of them, so that a session does not
 * jump between microphones. */
static struct tt_take *longest_take(struct tt_run_state *run, int channel_count)
{
    struct tt_take *longest = NULL;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (takes_session_channel(take, channel_count) &&
            (!longest || take->info.frame_count > longest->info.frame_count))
            longest = take;
    }
    return longest;
}

static void choose_for_layout(struct tt_run_state *run, int channel_count)
{
    struct tt_take *longest = longest_take(run, channel_count);
    while (longest && !choose_for_take(run, longest)) /* it has failed, and is none of them now */
        longest = longest_take(run, channel_count);
    for (size_t i = 0; longest && i < run->take_count; i++)
        if (takes_session_channel(&run->takes[i], channel_count))
            run->takes[i].channel = longest->channel;
}

void tt_session_choose_channels(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        struct tt_error error = {0};
        if (take->has_failed || !take->is_used)
            continue;
        const struct tt_settings *settings = tt_take_settings(run, take);
        if (settings->take.channel != TT_CHANNEL_AUTO) {
            if (!choose_by_policy(settings, take->info.channel_count, &take->channel, &error))
                tt_take_fail(run, take, &error);
        } else if (take->info.channel_count == 1) {
            take->channel = (struct tt_channel_choice){.channel = 0, .why = "one channel"};
        } else if (take->own_settings) { /* the running order sets it apart */
            choose_for_take(run, take);
        } else if (take->channel.why[0] == '\0') {
            choose_for_layout(run, take->info.channel_count);
        }
    }
}
