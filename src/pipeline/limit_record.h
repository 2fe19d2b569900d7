/* SPDX-License-Identifier: GPL-2.0-or-later */
/* OUT/heard/TAKE.lim: what the limiter of a voice was asked for, so that the narration can be made of voices that
 * nothing has limited yet, and limited once. */
#ifndef TT_PIPELINE_LIMIT_RECORD_H
#define TT_PIPELINE_LIMIT_RECORD_H

#include "dsp/limiter.h"

struct tt_limit_writer;
struct tt_limit_writer *tt_limit_writer_open(const char *path, int rate_hz, struct tt_error *err);
void tt_limit_writer_add(
    void *writer, const struct tt_limiter_demand *demand); /* a tt_limiter_told; a failure is kept until commit */
/* Where nothing was demanded there is no file, an old one goes. Destroys the writer, also on failure. */
bool tt_limit_writer_commit(struct tt_limit_writer *writer, struct tt_error *err);
void tt_limit_writer_abandon(struct tt_limit_writer *writer); /* NULL is fine */

struct tt_limit_reader;
/* An error where it is missing, damaged or of another rate. */
struct tt_limit_reader *tt_limit_reader_open(const char *path, int rate_hz, struct tt_error *err);
/* The next samples of the voice, from its first on: in place, as they were before the limiter. */
void tt_limit_reader_restore(struct tt_limit_reader *reader, float *samples, size_t count);
/* False when the file could not be read to its end. */
bool tt_limit_reader_is_whole(const struct tt_limit_reader *reader, struct tt_error *err);
void tt_limit_reader_close(struct tt_limit_reader *reader);

#endif
