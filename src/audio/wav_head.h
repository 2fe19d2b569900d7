/* SPDX-License-Identifier: GPL-2.0-or-later */
/* All of a WAV or RF64 file that stands in front of the sound. Its size does not depend on the length of the sound: it
 * is written twice, first as a place holder. Written by ourselves because libsndfile writes no labels, no cue in RF64,
 * a date into float files and its version into bext. */
#ifndef TT_AUDIO_WAV_HEAD_H
#define TT_AUDIO_WAV_HEAD_H

#include "audio/writer.h"
#include "base/text.h"

struct tt_wav_head {
    struct tt_text bytes;
    uint32_t frame_bytes;
    bool is_always_rf64;
    size_t fact_at; /* of the chunk; 0: none */
    size_t bext_at; /* the same */
};

/* Start from {0}; tt_wav_head_free also after a failure (out of memory). */
bool tt_wav_head_make(struct tt_wav_head *head, const struct tt_sound_format *format, const struct tt_label *labels,
                      size_t label_count, const struct tt_bext *bext, struct tt_error *err);
/* Fills in the sizes for so many frames, and decides between RIFF and RF64. */
void tt_wav_head_set_length(struct tt_wav_head *head, uint64_t frame_count);
void tt_wav_head_set_loudness(struct tt_wav_head *head, const struct tt_bext_loudness *loudness);
void tt_wav_head_free(struct tt_wav_head *head);

#endif
