/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Syllable nuclei: the peaks of loudness between 300 and 3300 Hz that are voiced and stand between dips. Words cannot
 * be counted without a script, these can; good over ten seconds and more (errors of 5 to 15 % after one scale factor),
 * not for a sentence. */
#ifndef TT_DSP_NUCLEI_H
#define TT_DSP_NUCLEI_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "dsp/stft.h"

struct tt_nuclei;
struct tt_nuclei *tt_nuclei_create(struct tt_stft_shape shape, struct tt_error *err);
/* The next frame's power spectrum (tt_stft_powers), how voiced it is (0..1), and whether somebody speaks. */
bool tt_nuclei_add(struct tt_nuclei *nuclei, const float *power, float voiced, bool is_speech, struct tt_error *err);
/* Places of all nuclei in samples, rising; borrowed until destroy. Call once, at the end. */
const int64_t *tt_nuclei_finish(struct tt_nuclei *nuclei, size_t *count);
/* How fast the voice dies away where it does so fastest, at the end: dB a second. In a dry room 140 and more; one that
 * rings holds it up: some 107 at a reverberation time of 0.5 s, 78 at 0.8 s (measured on recorded voices with made
 * rooms). NAN when there was too little to hear it. */
double tt_nuclei_decay_db_per_s(const struct tt_nuclei *nuclei);
void tt_nuclei_destroy(struct tt_nuclei *nuclei); /* NULL is fine */

#endif
