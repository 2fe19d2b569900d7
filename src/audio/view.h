/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A file as libsndfile is to see it: read only, and with a header's wrong size of the sound mended on the way. */
#ifndef TT_AUDIO_VIEW_H
#define TT_AUDIO_VIEW_H

#include <sndfile.h>
#include <stdbool.h>
#include <stdint.h>

#include "audio/promise.h"
#include "base/file.h"

struct tt_view {
    int fd;
    int64_t file_size;
    int64_t at;
    int64_t patch_at; /* bytes that are shown in place of the file's own */
    int patch_size;   /* 0: none */
    unsigned char patch[8];
    bool is_opening;    /* what is read is a header, not sound */
    int failed_errno;   /* of the first read that failed */
    tt_bytes_seen seen; /* gets the file's own bytes as they are read; NULL: nobody asks */
    void *seen_context;
};

/* Mends what the promise shows to be wrong. */
struct tt_view tt_view_make(int fd, int64_t file_size, const struct tt_data_promise *promise);

/* From the start; the view must outlive the SNDFILE. NULL on failure: why then holds libsndfile's text. */
SNDFILE *tt_view_open(struct tt_view *view, SF_INFO *info, char *why, int why_size);

#endif
