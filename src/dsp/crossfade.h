/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From one sound to another without a dip or a bump, whatever the two have in common. */
#ifndef TT_DSP_CROSSFADE_H
#define TT_DSP_CROSSFADE_H

#include <stddef.h>

/* output[i] goes from `from` to `to` over count samples. The curves are equal gain for like material and equal power
 * for unlike material, and what lies between for what lies between: gains a, b with a^2 + b^2 + 2 a b rho = 1, rho the
 * correlation of the two over the fade (negative counts as 0). The level at the middle for known rho: see the crossfade
 * table of any handbook; computed there as 10 log10((1 + rho) / 2) for plain equal gain. */
void tt_crossfade(const float *from, const float *to, float *output, size_t count);

/* Correlation coefficient in 0..1. */
double tt_likeness(const float *a, const float *b, size_t count);

#endif
