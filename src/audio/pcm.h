/* SPDX-License-Identifier: GPL-2.0-or-later */
/* From float samples to what a file holds, and back. 1.0 is 2^(bits - 1), the scale that reading divides by, so nothing
 * moves in a round trip. */
#ifndef TT_AUDIO_PCM_H
#define TT_AUDIO_PCM_H

#include <stddef.h>
#include <stdint.h>

/* Rounded to the nearest 24-bit value, halves to even, clipped; NaN becomes 0. */
void tt_pcm_to_24(const float *samples, int32_t *values, size_t count);

/* Triangular dither of two least steps peak to peak, then as above with 16 bits. *dither_state counts on from sample to
 * sample: start it with TT_DITHER_START. noise is room for count floats. */
#define TT_DITHER_START UINT64_C(0x74616B65)
void tt_pcm_to_16(const float *samples, int32_t *values, float *noise, size_t count, uint64_t *dither_state);

/* Little-endian bytes; copies is 1, or 2 for the same sample in two channels. bytes holds count * copies * (2, 3 or 4).
 */
void tt_pcm_pack_16(const int32_t *values, unsigned char *bytes, size_t count, int copies);
void tt_pcm_pack_24(const int32_t *values, unsigned char *bytes, size_t count, int copies);
void tt_pcm_pack_float(const float *samples, unsigned char *bytes, size_t count, int copies);

/* Little-endian 24-bit samples as floats, the same bits as libsndfile gives. */
void tt_pcm_unpack_24(const unsigned char *restrict bytes, float *restrict samples, size_t count);

#endif
