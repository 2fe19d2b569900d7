/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/coughs.h"

#include "base/units.h"

/* A run of speech that stands by itself and is hardly voiced: a cough, or a whispered word. Of 315 lines and single
 * words none had a voiced share under 0.34; of 10 coughs of our own making all had, and 25 of 28 whispered words. */
static const double alone_ms = 250, most_ms = 1200;
static const float voiced_most = 0.25f;
static const double heard_db = 12; /* over the room */

bool tt_cough_is_hardly_voiced(const struct tt_run *run) { return run->voiced_share < voiced_most; }

bool tt_cough_may_be(const struct tt_heard *heard, size_t run)
{
    const struct tt_run *runs = heard->runs, *at = &runs[run];
    const int64_t alone = tt_frames_from_ms(alone_ms, heard->facts.rate_hz);
    return tt_cough_is_hardly_voiced(at) &&
           at->end_sample - at->start_sample <= tt_frames_from_ms(most_ms, heard->facts.rate_hz) &&
           at->over_floor_db >= heard_db && (run == 0 || at->start_sample - runs[run - 1].end_sample >= alone) &&
           (run + 1 == heard->run_count || runs[run + 1].start_sample - at->end_sample >= alone);
}

/* The first run that ends behind where the phrase begins. */
static size_t run_of(const struct tt_heard *heard, const struct tt_phrase *phrase)
{
    size_t run = 0;
    while (run < heard->run_count && heard->runs[run].end_sample <= phrase->start_sample)
        run++;
    return run;
}

static bool is_of_one_cough(const struct tt_phrases *phrases, const struct tt_reread *reread)
{
    const struct tt_phrase *first = &phrases->all[reread->first], *last = &phrases->all[reread->again_last];
    const struct tt_heard *heard = phrases->view->takes[first->take].heard;
    const size_t run = run_of(heard, first);
    return first->take == last->take && run < heard->run_count && last->start_sample < heard->runs[run].end_sample &&
           tt_cough_may_be(heard, run);
}

void tt_cough_strokes_stay(const struct tt_phrases *phrases, struct tt_phrase_choice *choices)
{
    for (size_t p = 0; p < phrases->count; p++)
        if (choices[p].fate == TT_PHRASE_MISREAD && choices[p].action == TT_DO_ASK && choices[p].reread &&
            is_of_one_cough(phrases, choices[p].reread))
            choices[p] = (struct tt_phrase_choice){.fate = TT_PHRASE_STAYS};
}
