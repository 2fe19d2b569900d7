/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/phrase_ends.h"

#include <math.h>

static const double fall_s = 0.15, longest_syllable_s = 0.5;
/* Nine of ten readings that are broken off fall off less than 8 dB, but half of the lines do, too, that are read to
 * their end (310 and 3,400 ends); a line's last word costs more than a question. Of 20 cuts inside a line that were
 * right, in 14 hours of six voices, 4 fall off by more than this, of 17 that took the end of a wanted line 16. */
static const double least_fall_db = 5.2;

/* Mean power of the last moments before end_s. */
static double power_at_end(const struct tt_heard *heard, double end_s)
{
    const double step_s = TT_HEARD_STEP_MS / 1000.0;
    double energy = 0.0;
    size_t last = (size_t)(end_s / step_s);
    for (size_t k = last + 1; k-- > 0 && (double)(k + 1) * step_s > end_s - fall_s;) {
        double share = ((double)(k + 1) * step_s - (end_s - fall_s)) / step_s;
        if (k < heard->step_count)
            energy += (double)heard->steps[k] * step_s * fmin(share, 1.0);
    }
    return energy / fall_s;
}

/* How many syllables lie before a place. */
static size_t nuclei_before(const struct tt_heard *heard, int64_t sample)
{
    size_t low = 0, high = heard->nucleus_count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (heard->nuclei[middle] < sample)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

struct tt_phrase_end tt_phrase_end_of(const struct tt_phrases *phrases, size_t phrase)
{
    const struct tt_phrase *p = &phrases->all[phrase];
    const struct tt_heard *heard = phrases->view->takes[p->take].heard;
    const double rate = heard->facts.rate_hz, end_s = (double)p->loud_end_sample / rate;
    struct tt_phrase_end end = {.syllable_s = longest_syllable_s,
                                .fading_s = (double)(p->end_sample - p->loud_end_sample) / rate};
    end.fall_db = (double)p->level_db - 10.0 * log10(power_at_end(heard, end_s) + 1e-12);
    const size_t last = nuclei_before(heard, p->loud_end_sample);
    if (last > 0 && heard->nuclei[last - 1] >= p->loud_start_sample)
        end.syllable_s = fmin(longest_syllable_s, end_s - (double)heard->nuclei[last - 1] / rate);
    return end;
}

bool tt_phrase_end_falls(double fall_db) { return fall_db > least_fall_db; }
