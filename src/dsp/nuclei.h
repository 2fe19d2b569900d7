/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Syllable nuclei: the peaks of loudness between 300 and 3300 Hz that are voiced and stand between dips. Words cannot be counted without a script, these can;
 * good over ten seconds and more (errors of 5 to 15 % after one scale factor), not for a sentence. */
#ifndef TT_DSP_NUCLEI_H
#define TT_DSP_NUCLEI_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "dsp/stft.h"

struct tt_nuclei;
struct tt_nuclei *tt_nuclei_create(struct tt_stft_shape shape, struct tt_error *err);
/* The next frame's power spectrum (tt_stft_power), how voiced it is (0..1), and whether somebody speaks. */
bool tt_nuclei_add(struct tt_nuclei *nuclei, const float *power, float voiced, bool is_speech, struct tt_error *err);
/* Places of all nuclei in samples, rising; borrowed until destroy. Call once, at the end. */
const int64_t *tt_nuclei_finish(struct tt_nuclei *nuclei, size_t *count);
void tt_nuclei_destroy(struct tt_nuclei *nuclei); /* NULL is fine */

#endif
