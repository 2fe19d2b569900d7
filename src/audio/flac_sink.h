/* SPDX-License-Identifier: GPL-2.0-or-later */
/* FLAC through libsndfile into a file that appears whole or not at all. libsndfile hides some failed writes: each is
 * kept. */
#ifndef TT_AUDIO_FLAC_SINK_H
#define TT_AUDIO_FLAC_SINK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"
#include "base/file.h"

struct tt_flac_sink;

/* file stays the caller's, and must outlive the sink. bits is 16 or 24. */
struct tt_flac_sink *tt_flac_sink_open(struct tt_publish *file, int rate_hz, int channel_count, int bits,
                                       struct tt_error *err);
/* Interleaved, each value in the upper bits of its 32. */
bool tt_flac_sink_add(struct tt_flac_sink *sink, const int32_t *interleaved, size_t frame_count, struct tt_error *err);
/* Finishes the stream and destroys the sink, also on failure. */
bool tt_flac_sink_finish(struct tt_flac_sink *sink, struct tt_error *err);
void tt_flac_sink_abandon(struct tt_flac_sink *sink); /* NULL is fine */

#endif
