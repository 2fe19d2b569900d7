/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A Kalman filter of two states (Kalman 1960) for a frequency that takes a random walk. While somebody speaks nothing
 * is measured, and what is not known grows: the first quiet periods behind it count nearly in full, later ones less. */
#include "dsp/hum_phase.h"

#include <math.h>

#include "base/units.h"

/* Public grids wander by some 0.02 Hz within ten seconds (common practice, no source). */
static const double WANDER_HZ = 0.006; /* in a second */
static const double START_HZ = 0.03;   /* how far a moment's frequency lies from that of the take */
static const double MOST_HZ = 0.15;

void tt_hum_phase_start(struct tt_hum_phase *phase, double period_s)
{
    const double drift = 2.0 * TT_PI * START_HZ * period_s;
    *phase = (struct tt_hum_phase){.period_s = period_s, .of_drift = drift * drift};
}

double tt_hum_phase_measured(struct tt_hum_phase *phase, double turn, double variance)
{
    const double per_sum = 1.0 / (phase->of_phase + variance), most = 2.0 * TT_PI * MOST_HZ * phase->period_s;
    const double phase_share = phase->of_phase * per_sum, drift_share = phase->of_both * per_sum;
    phase->drift = fmax(-most, fmin(most, phase->drift + drift_share * turn));
    phase->of_drift -= drift_share * phase->of_both;
    phase->of_both -= phase_share * phase->of_both;
    phase->of_phase -= phase_share * phase->of_phase;
    return phase_share * turn;
}

void tt_hum_phase_go_on(struct tt_hum_phase *phase)
{
    const double wander = 2.0 * TT_PI * WANDER_HZ * phase->period_s;
    phase->of_phase += 2.0 * phase->of_both + phase->of_drift;
    phase->of_both += phase->of_drift;
    phase->of_drift += wander * wander * phase->period_s;
}
