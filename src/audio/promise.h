/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a file's header promises about its sound data, read from the chunks themselves: libsndfile mends wrong sizes
 * silently. */
#ifndef TT_AUDIO_PROMISE_H
#define TT_AUDIO_PROMISE_H

#include <stdbool.h>
#include <stdint.h>

struct tt_data_promise {
    int64_t data_offset; /* of the first byte of sound */
    int64_t data_bytes;  /* promised; meaningless where the size was left open */
    bool is_left_open; /* the size was never filled in, as by a live stream or a recorder that lost power: no promise */
    bool is_kept;      /* the file holds all that was promised */
    int64_t size_field_at; /* where the size stands */
    int size_field_bytes;  /* 4 or 8; 0: no such container, all else is meaningless then */
    int64_t size_extra;    /* what the size counts besides the sound */
    bool is_big_endian;
};

/* Knows WAV, RF64, BW64, W64, AIFF, AU and CAF. Never fails: what cannot be read is not known. Moves no file offset. */
struct tt_data_promise tt_data_promise_read(int fd, int64_t file_size);

#endif
