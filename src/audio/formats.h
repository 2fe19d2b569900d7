/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What libsndfile's format numbers mean to a narrator. */
#ifndef TT_AUDIO_FORMATS_H
#define TT_AUDIO_FORMATS_H

#include "audio/reader.h"

/* Fills bits, is_float, plays_in_browser and format_name. */
void tt_format_describe(int sndfile_format, struct tt_audio_info *info);

/* True when the bytes of the file say exactly how many frames there are: uncompressed sound and FLAC. */
bool tt_format_counts_exactly(int sndfile_format);

/* Bytes of one sample of uncompressed sound, 0 of anything else. */
int tt_format_sample_bytes(int sndfile_format);

/* WAV and its kin with 24 bits: three bytes a sample, the lowest first, and nothing between them. */
bool tt_format_is_little_endian_24(int sndfile_format);

#endif
