/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From the K-weighted power of 100 ms steps to integrated loudness (ITU-R BS.1770-5) and range (EBU Tech 3342). */
#ifndef TT_DSP_LOUDNESS_H
#define TT_DSP_LOUDNESS_H

#include <stddef.h>

/* Loudness of a mean K-weighted power, channel weights included: -0.691 + 10 log10(power). -INFINITY for 0. */
double tt_lufs_from_power(double power);
double tt_power_from_lufs(double lufs);

/* Gated, of consecutive steps (400 ms blocks, 75 % overlap, gates -70 and -10). */
double tt_loudness_of_steps(const float *steps, size_t count, double channel_weight);

/* NAN where the steps are shorter than 3 s or nothing passes the gate. room: tt_loudness_room(count) numbers. */
size_t tt_loudness_room(size_t count);
double tt_loudness_range_in(const float *steps, size_t count, double channel_weight, float *room);

#endif
