/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The bytes of single RIFF chunks. A tt_text serves as growing bytes; out of memory shows in its has_failed. */
#ifndef TT_AUDIO_WAV_CHUNKS_H
#define TT_AUDIO_WAV_CHUNKS_H

#include "audio/writer.h"
#include "base/text.h"

void tt_bytes_u16(struct tt_text *bytes, uint16_t value);
void tt_bytes_u32(struct tt_text *bytes, uint32_t value);
/* Overwrites what is there. */
void tt_bytes_set_u32(struct tt_text *bytes, size_t at, uint32_t value);
void tt_bytes_set_u64(struct tt_text *bytes, size_t at, uint64_t value);

/* A chunk's name and a size of zero; end fills the size in and pads to an even place. */
size_t tt_chunk_begin(struct tt_text *bytes, const char *id);
void tt_chunk_end(struct tt_text *bytes, size_t begin);

/* bext version 2 (EBU Tech 3285) with the loudness unset; history_line is put behind the coding history. */
void tt_chunk_bext(struct tt_text *bytes, const struct tt_bext *bext, const char *history_line);
/* Sets the loudness fields of the chunk that began at begin. */
void tt_chunk_bext_loudness(struct tt_text *bytes, size_t begin, const struct tt_bext_loudness *loudness);

/* 'cue ' and LIST adtl with a labl each (RIFF 1991); nothing where no label has a place within 32 bits. Names count
 * from 1. */
void tt_chunk_labels(struct tt_text *bytes, const struct tt_label *labels, size_t count);

#endif
