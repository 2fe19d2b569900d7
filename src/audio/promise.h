/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a file's header promises about its sound data, read from the chunks themselves: libsndfile mends wrong sizes silently. */
#ifndef TT_AUDIO_PROMISE_H
#define TT_AUDIO_PROMISE_H

#include <stdbool.h>
#include <stdint.h>

struct tt_data_promise {
    bool is_known;        /* a container with sizes, and a size that is meant: not the marks of a live stream */
    int64_t data_offset;  /* of the first byte of sound */
    int64_t data_bytes;   /* promised */
};

/* Knows WAV, RF64, BW64, W64, AIFF, AU and CAF. Never fails: what cannot be read is not known. Moves no file offset. */
struct tt_data_promise tt_data_promise_read(int fd, int64_t file_size);

#endif
