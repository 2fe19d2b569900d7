/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the page shows of a voice, gathered while the voice is written: its spectrogram, its levels, what is left of the
 * room by band. */
#ifndef TT_PIPELINE_PORTRAIT_H
#define TT_PIPELINE_PORTRAIT_H

#include <stdbool.h>
#include <stddef.h>

#include "dsp/meter.h"
#include "pipeline/quiet_meter.h"

struct tt_portrait;
/* heard_path: OUT/heard/TAKE.out. picture_prefix as in picture.h; NULL: no spectrogram. Both are borrowed. */
struct tt_portrait *tt_portrait_create(int rate_hz, const char *heard_path, const char *picture_prefix,
                                       struct tt_error *err);
bool tt_portrait_add(struct tt_portrait *portrait, const float *samples, size_t count, struct tt_error *err);
/* The meters have heard the same samples; quiet may be NULL. Does not destroy it. */
bool tt_portrait_finish(struct tt_portrait *portrait, const struct tt_meter *meter, const struct tt_quiet_meter *quiet,
                        struct tt_error *err);
void tt_portrait_destroy(struct tt_portrait *portrait); /* NULL is fine */

#endif
