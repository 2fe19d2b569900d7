/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/quiet_spans.h"

#include <stdlib.h>

#include "base/rescale.h"
#include "base/units.h"

/* In a restless room much is somewhat like a breath. */
static bool is_sure_breath(const struct tt_sound *sound)
{
    const float sure = 0.7f; /* as breaths are softened with */
    return sound->kind == TT_SOUND_BREATH && sound->confidence >= sure;
}

bool tt_quiet_spans_find(const struct tt_heard *heard, const struct tt_time_map *map, int out_rate_hz, bool with_noises,
                         struct tt_quiet_spans *quiet, struct tt_error *err)
{
    const int rate_hz = heard->facts.rate_hz;
    const int64_t guard = tt_frames_from_ms(150, rate_hz);
    *quiet = (struct tt_quiet_spans){
        malloc((heard->run_count + heard->sound_count + map->count + 2) * sizeof *quiet->spans), 0};
    if (!quiet->spans)
        return tt_fail_memory(err);
    size_t run = 0, sound = 0;
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        int64_t at = stretch->source_start;
        while (at < stretch->source_end) {
            while (run < heard->run_count && heard->runs[run].end_sample + guard <= at)
                run++;
            while (sound < heard->sound_count &&
                   (heard->sounds[sound].end_sample <= at || (with_noises && !is_sure_breath(&heard->sounds[sound]))))
                sound++;
            int64_t busy_start = INT64_MAX, busy_end = INT64_MAX;
            if (run < heard->run_count) {
                busy_start = heard->runs[run].start_sample - guard;
                busy_end = heard->runs[run].end_sample + guard;
            }
            if (sound < heard->sound_count && heard->sounds[sound].start_sample < busy_start) {
                busy_start = heard->sounds[sound].start_sample;
                busy_end = heard->sounds[sound].end_sample;
            }
            int64_t until = busy_start < stretch->source_end ? busy_start : stretch->source_end;
            if (until > at)
                quiet->spans[quiet->count++] = (struct tt_span_samples){
                    tt_rescale_frames(stretch->out_start + at - stretch->source_start, rate_hz, out_rate_hz),
                    tt_rescale_frames(stretch->out_start + until - stretch->source_start, rate_hz, out_rate_hz)};
            at = busy_end < stretch->source_end ? (busy_end > at ? busy_end : at + 1) : stretch->source_end;
        }
    }
    return true;
}
