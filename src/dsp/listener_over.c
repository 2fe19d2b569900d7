/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Something that lies over the words: a knock, a chair, a page on the microphone. It cannot be taken out; the line is
 * to be read again. */
#include "dsp/listener_parts.h"

/* Against the mean of the louder half of its run: hiss and the bursts of stops reach +4 dB at the most, voiced sounds
 * +9 (measured on recorded prompts and re-readings). What is louder was not said. */
static const float unvoiced_over_db = 8.0f, any_over_db = 14.0f, unvoiced_most = 0.35f;
static const int voiced_frames_least = 20; /* of a run that has words, and a level to compare with */
static const double inside_ms = 60.0, apart_ms = 1500.0;

static bool is_over(float level_over_db, float voiced)
{
    return level_over_db >= any_over_db || (level_over_db >= unvoiced_over_db && voiced < unvoiced_most);
}

void tt_listener_find_over_words(struct tt_listener *l, const struct tt_open_run *run, float run_level_db)
{
    int64_t inside = tt_listener_frames(l, inside_ms), apart = tt_listener_frames(l, apart_ms), last = INT64_MIN / 2;
    int64_t from = l->built - run->start < l->ring_mask ? run->start : l->built - l->ring_mask;
    if (run->voiced_frames < voiced_frames_least)
        return;
    for (int64_t i = from + inside; i < run->end - inside; i++) {
        const struct tt_heard_frame *frame = tt_heard_at(l, i);
        if (!is_over(tt_level_db_of(frame->whole) - run_level_db, frame->voiced))
            continue;
        if (i - last >= apart && l->over_count < TT_OVER_WORDS_MOST)
            l->over_words[l->over_count++] = tt_listener_sample(l, i);
        last = i;
    }
}
