/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/pace.h"

#include <math.h>
#include <stdlib.h>

#include "base/median.h"

/* Nuclei are good over ten seconds and more (dsp/nuclei.h). */
static const double stretch_s = 10;
/* A stretch is outside the own range by a quarter of the usual pace at least: nineteen in twenty stretches are counted
 * closer than 16 %. */
static const double outside_share = 0.25, outside_deviations = 3, deviations_per_mad = 1.4826;
enum { STRETCHES_LEAST = 4 };

static bool is_kept(const struct tt_run *run, const struct tt_time_map *map)
{
    return !map || tt_time_map_to_out(map, (run->start_sample + run->end_sample) / 2) >= 0;
}

static size_t nuclei_in(const struct tt_heard *heard, const struct tt_run *run, size_t *at)
{
    size_t count = 0;
    while (*at < heard->nucleus_count && heard->nuclei[*at] < run->start_sample)
        ++*at;
    for (; *at < heard->nucleus_count && heard->nuclei[*at] < run->end_sample; ++*at)
        count++;
    return count;
}

bool tt_pace_find(const struct tt_heard *heard, const struct tt_time_map *map, struct tt_pace *pace,
                  struct tt_error *err)
{
    *pace =
        (struct tt_pace){.stretches = calloc(heard->run_count + 1, sizeof *pace->stretches), .syllables_per_s = NAN};
    if (!pace->stretches)
        return tt_fail_memory(err);
    double spoken_s = 0, all_s = 0;
    size_t at = 0, nuclei = 0, all = 0;
    struct tt_pace_stretch open = {.start_sample = -1};
    for (size_t i = 0; i < heard->run_count; i++) {
        const struct tt_run *run = &heard->runs[i];
        if (!is_kept(run, map))
            continue;
        if (open.start_sample < 0)
            open.start_sample = run->start_sample;
        open.end_sample = run->end_sample;
        nuclei += nuclei_in(heard, run, &at);
        spoken_s += (double)(run->end_sample - run->start_sample) / heard->facts.rate_hz;
        if (spoken_s < stretch_s)
            continue;
        open.syllables_per_s = (double)nuclei / spoken_s;
        pace->stretches[pace->count++] = open;
        all += nuclei;
        all_s += spoken_s;
        spoken_s = 0;
        nuclei = 0;
        open.start_sample = -1;
    }
    if (all_s > 0)
        pace->syllables_per_s = (double)all / all_s;
    return true;
}

void tt_pace_free(struct tt_pace *pace)
{
    free(pace->stretches);
    *pace = (struct tt_pace){0};
}

bool tt_pace_own_range(double *paces, size_t count, double *usual, double *least, double *most)
{
    if (count < STRETCHES_LEAST)
        return false;
    *usual = tt_median(paces, count);
    for (size_t i = 0; i < count; i++)
        paces[i] = fabs(paces[i] - *usual);
    double width = outside_deviations * deviations_per_mad * tt_median(paces, count);
    width = width > outside_share * *usual ? width : outside_share * *usual;
    *least = *usual - width;
    *most = *usual + width;
    return true;
}
