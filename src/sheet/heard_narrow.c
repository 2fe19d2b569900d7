/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A piece out of a longer recording: what was heard there, and nothing else. */
#include <stdlib.h>

#include "sheet/heard.h"

int64_t tt_heard_end(const struct tt_heard *heard)
{
    return heard->to_sample > 0 ? heard->to_sample : heard->facts.frame_count;
}

static int64_t within(int64_t sample, int64_t from, int64_t to)
{
    return sample < from ? from : sample > to ? to : sample;
}

/* A run that goes on beyond an edge ends there. */
static bool narrow_runs(struct tt_heard *heard, int64_t from, int64_t to, struct tt_error *err)
{
    heard->narrowed = malloc((heard->run_count + 1) * sizeof *heard->narrowed);
    if (!heard->narrowed)
        return tt_fail_memory(err);
    size_t count = 0;
    for (size_t i = 0; i < heard->run_count; i++) {
        struct tt_run run = heard->runs[i];
        run.start_sample = within(run.start_sample, from, to);
        run.end_sample = within(run.end_sample, from, to);
        run.loud_start_sample = within(run.loud_start_sample, from, to);
        run.loud_end_sample = within(run.loud_end_sample, from, to);
        if (run.end_sample > run.start_sample)
            heard->narrowed[count++] = run;
    }
    heard->runs = heard->narrowed;
    heard->run_count = count;
    return true;
}

bool tt_heard_narrow(struct tt_heard *heard, int64_t from_sample, int64_t to_sample, struct tt_error *err)
{
    const int64_t to = to_sample < heard->facts.frame_count ? to_sample : heard->facts.frame_count;
    if (from_sample < 0 || from_sample >= to)
        return tt_fail(err, TT_ERROR_INTERNAL, "a part of a recording without a length");
    heard->from_sample = from_sample;
    heard->to_sample = to;
    if (!narrow_runs(heard, from_sample, to, err))
        return false;
    /* Sounds and syllables rise: those that lie wholly inside are one stretch of each list. */
    while (heard->sound_count > 0 && heard->sounds[0].start_sample < from_sample)
        heard->sounds++, heard->sound_count--;
    while (heard->sound_count > 0 && heard->sounds[heard->sound_count - 1].end_sample > to)
        heard->sound_count--;
    while (heard->nucleus_count > 0 && heard->nuclei[0] < from_sample)
        heard->nuclei++, heard->nucleus_count--;
    while (heard->nucleus_count > 0 && heard->nuclei[heard->nucleus_count - 1] >= to)
        heard->nucleus_count--;
    return true;
}
