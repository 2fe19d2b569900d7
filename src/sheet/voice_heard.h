/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What was measured of a voice as it was written: for the page, kept in OUT/heard/TAKE.out. */
#ifndef TT_SHEET_VOICE_HEARD_H
#define TT_SHEET_VOICE_HEARD_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"
#include "dsp/third_octaves.h"

struct tt_voice_heard {
    double
        thirds[TT_THIRDS]; /* mean square of what is left between the lines, by band; NAN: no pause was long enough */
    float *steps;          /* K-weighted mean power of each 100 ms */
    size_t step_count;
};

bool tt_voice_heard_write(const char *path, const struct tt_voice_heard *heard, struct tt_error *err);
/* A file that is not whole, or not of this version, is an error. */
bool tt_voice_heard_read(const char *path, struct tt_voice_heard *heard, struct tt_error *err);
void tt_voice_heard_free(struct tt_voice_heard *heard); /* zeroes it */

#endif
