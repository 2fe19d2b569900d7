/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes that will not sound as if they were recorded with the others: another room, another distance, another
 * microphone. Each take was measured on its own; the usual is the median of the session. */
#include <math.h>
#include <stdlib.h>

#include "base/median.h"
#include "session/advice.h"

enum { LEAST_TAKES = 3 };

/* The room against the voice: what a listener notices when a take begins. Common practice, no source. */
static const double floor_apart_db = 8.0;
/* The mean spectrum of the speech: RMS over bands of about an octave, in dB. Takes of one voice with other words
 * differed by 0.2 to 1.7 (eight of a quarter of a minute, measured), a treble shelf of 6 dB by 2.5, one of 10 dB
 * by 4.8. */
static const double colour_apart_db = 3.0;

struct measures {
    double over_floor_db;
    double colour_db[TT_COLOUR_BANDS];
};

static bool takes_part(const struct tt_take *take) { return tt_take_takes_part(take) && take->heard.run_count > 0; }

static struct measures measure(const struct tt_heard *heard)
{
    struct measures m = {.over_floor_db = heard->facts.speech_dbfs - heard->facts.floor_dbfs};
    for (int b = 0; b < TT_COLOUR_BANDS; b++)
        m.colour_db[b] = (double)heard->facts.colour_db[b];
    return m;
}

static double colour_distance_db(const struct measures *own, const struct measures *usual)
{
    double sum = 0;
    for (int b = 0; b < TT_COLOUR_BANDS; b++)
        sum += (own->colour_db[b] - usual->colour_db[b]) * (own->colour_db[b] - usual->colour_db[b]);
    return sqrt(sum / TT_COLOUR_BANDS);
}

/* More at the upper half of the bands than at the lower one. */
static bool is_brighter(const struct measures *own, const struct measures *usual)
{
    double tilt = 0;
    for (int b = 0; b < TT_COLOUR_BANDS; b++)
        tilt += (b < TT_COLOUR_BANDS / 2 ? -1 : 1) * (own->colour_db[b] - usual->colour_db[b]);
    return tilt > 0;
}

static void tell(struct tt_take *take, const struct measures *own, const struct measures *usual)
{
    const double over_db = own->over_floor_db - usual->over_floor_db;
    if (isfinite(over_db) && fabs(over_db) > floor_apart_db)
        tt_take_warn(take, "room-apart", NAN,
                     "its room is %.0f dB %s against the voice than in the other takes: listen where they meet",
                     fabs(over_db), over_db < 0 ? "higher" : "lower");
    if (colour_distance_db(own, usual) > colour_apart_db) /* not so without a colour, which is no number */
        tt_take_warn(take, "colour-apart", NAN,
                     "the voice sounds %s than in the other takes: was it another microphone, distance or side of it? "
                     "Listen where they meet",
                     is_brighter(own, usual) ? "brighter" : "darker");
}

/* NAN where too few takes have one. */
static double usual_of(const struct tt_run_state *run, const struct measures *all, double *values, int band)
{
    size_t count = 0;
    for (size_t i = 0; i < run->take_count; i++) {
        double value = band < 0 ? all[i].over_floor_db : all[i].colour_db[band];
        if (takes_part(&run->takes[i]) && isfinite(value))
            values[count++] = value;
    }
    return count >= LEAST_TAKES ? tt_median(values, count) : (double)NAN;
}

bool tt_neighbours_tell(struct tt_run_state *run, struct tt_error *err)
{
    struct measures *all = calloc(run->take_count + 1, sizeof *all), usual;
    double *values = calloc(run->take_count + 1, sizeof *values);
    bool ok = (all && values) || tt_fail_memory(err);
    for (size_t i = 0; ok && i < run->take_count; i++)
        if (takes_part(&run->takes[i]))
            all[i] = measure(&run->takes[i].heard);
    if (ok) {
        usual.over_floor_db = usual_of(run, all, values, -1);
        for (int b = 0; b < TT_COLOUR_BANDS; b++)
            usual.colour_db[b] = usual_of(run, all, values, b);
    }
    for (size_t i = 0; ok && i < run->take_count; i++)
        if (takes_part(&run->takes[i]))
            tell(&run->takes[i], &all[i], &usual);
    free(all);
    free(values);
    return ok;
}
