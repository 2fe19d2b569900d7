/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Loops over samples, kept free of calls and branches so that the compiler can do several at once. */
#ifndef TT_AUDIO_SAMPLES_H
#define TT_AUDIO_SAMPLES_H

#include <stddef.h>
#include <stdint.h>

/* The greatest value of 16 bits: from here on a sample is clipped, whatever it was recorded with. */
#define TT_CLIP_LEVEL (32767.0f / 32768.0f)

/* Makes NaN and infinity into 0 and returns how many there were. */
int64_t tt_samples_mend(float *samples, size_t count);

/* One channel out of interleaved frames; -1: the mean of all. */
void tt_samples_pick(const float *interleaved, int channel_count, int channel, float *samples, size_t frame_count);

#endif
