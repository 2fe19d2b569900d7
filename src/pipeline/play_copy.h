/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A copy of a recording that every browser plays, for the page: its one channel as FLAC of 16 bits, and of some spans
 * nothing. */
#ifndef TT_PIPELINE_PLAY_COPY_H
#define TT_PIPELINE_PLAY_COPY_H

#include "audio/reader.h"
#include "sheet/sheet.h"

struct tt_play_copy {
    struct tt_recording recording;
    const struct tt_span *silent; /* in order of their starts; may overlap */
    size_t silent_count;
    double gain; /* linear: what lies above full scale in a float file is brought under it */
    const char *path;
    tt_go_on go_on; /* false ends it with TT_ERROR_STOPPED; may be NULL */
    void *context;
};

/* Publishes path, whole or not at all; its folder is made. */
bool tt_play_copy_write(const struct tt_play_copy *copy, struct tt_error *err);

#endif
