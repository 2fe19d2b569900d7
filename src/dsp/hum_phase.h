/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within the hum filter: where the mains are in their period, and how fast they turn away from where they should be. */
#ifndef TT_DSP_HUM_PHASE_H
#define TT_DSP_HUM_PHASE_H

struct tt_hum_phase {
    double period_s;
    double drift; /* radians of the first harmonic that the mains gain a period */
    /* Variances of what is not known of the phase and of the drift, and what they have in common. */
    double of_phase, of_both, of_drift;
};

void tt_hum_phase_start(struct tt_hum_phase *phase, double period_s);
/* Takes how far the mains have turned away within a period as it was measured, and the variance of that; returns how
 * much of it is believed, in radians. */
double tt_hum_phase_measured(struct tt_hum_phase *phase, double turn, double variance);
/* One more period goes by. */
void tt_hum_phase_go_on(struct tt_hum_phase *phase);

#endif
