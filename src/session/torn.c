/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two files that a recorder made of one recording without telling the time in them: they are taken for two takes, and
 * get a pause between them. It shows where one breaks off in the middle of speech and the other begins in it. */

#include "session/advice.h"

/* Nobody presses a button that soon behind a word, and again that soon before the next: common practice, no source. */
static const double at_the_edge_s = 0.06;

static bool is_whole_file(const struct tt_take *take)
{
    return tt_take_takes_part(take) && take->heard.run_count > 0 && take->from_ms == 0 && take->to_ms < 0 &&
           !take->is_pickup && !take->first_of_file;
}

static bool breaks_off(const struct tt_heard *heard)
{
    const int64_t left = heard->facts.frame_count - heard->runs[heard->run_count - 1].loud_end_sample;
    return (double)left < at_the_edge_s * heard->facts.rate_hz;
}

static bool begins_in_speech(const struct tt_heard *heard)
{
    return (double)heard->runs[0].loud_start_sample < at_the_edge_s * heard->facts.rate_hz;
}

void tt_torn_tell(struct tt_run_state *run)
{
    struct tt_take *last = NULL;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!take->is_used)
            continue;
        if (last && is_whole_file(last) && is_whole_file(take) && last->info.rate_hz == take->info.rate_hz &&
            breaks_off(&last->heard) && begins_in_speech(&take->heard))
            tt_take_warn(last, "torn", (double)tt_take_duration_ms(last) / 1000,
                         "breaks off in the middle of speech, and %.120s begins in it: if the recorder split one "
                         "recording there, make one file of the two; as two takes they get a "
                         "pause of %.1f s between them",
                         take->file->name, run->settings.pauses.between_ms / 1000);
        last = take;
    }
}
