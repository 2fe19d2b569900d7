/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/pcm.h"

#include <string.h>

#include "base/wide.h"

/* IEEE 754 single: magnitudes as bits are in the order of the numbers; above infinity's all are NaN. */
#define SIGN_MASK 0x7FFFFFFFu
#define INFINITY_BITS 0x7F800000u

/* Clipped by magnitude, as whole-number arithmetic: with float comparisons the loop would not be done several at a
 * time. Adding and taking away 2^23 leaves a float rounded to a whole number, halves to even, for up to 2^23. */
static inline int32_t to_whole(float value, float full_scale, int32_t most)
{
    const float whole_step = 8388608.0f;
    uint32_t bits, magnitude, limit;
    float size;
    memcpy(&bits, &value, sizeof bits);
    memcpy(&limit, &full_scale, sizeof limit);
    magnitude = bits & SIGN_MASK;
    magnitude &= (uint32_t)(magnitude > INFINITY_BITS) - 1u; /* NaN: 0 */
    magnitude = magnitude < limit ? magnitude : limit;
    memcpy(&size, &magnitude, sizeof size);
    int32_t whole = (int32_t)((size + whole_step) - whole_step);
    int32_t sign = -(int32_t)(bits >> 31);
    whole = (whole ^ sign) - sign;
    return whole < most ? whole : most;
}

TT_WIDE void tt_pcm_to_24(const float *samples, int32_t *values, size_t count)
{
    for (size_t i = 0; i < count; i++)
        values[i] = to_whole(samples[i] * 8388608.0f, 8388608.0f, 8388607);
}

/* The splitmix64 generator (Steele, Lea, Flood 2014): a counter and a mix, so that draw n depends on n alone. */
static inline uint64_t draw(uint64_t *state)
{
    uint64_t z = *state += UINT64_C(0x9E3779B97F4A7C15);
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return z ^ z >> 31;
}

/* The difference of two even draws of one step each is triangular over -1 to 1 step: the error's mean and power then do
 * not depend on the sound (Lipshitz, Wannamaker, Vanderkooy 1992; from memory). */
void tt_pcm_to_16(const float *samples, int32_t *values, float *noise, size_t count, uint64_t *dither_state)
{
    const float draw_step = 1.0f / 4294967296.0f;
    for (size_t i = 0; i < count; i++) {
        uint64_t bits = draw(dither_state);
        noise[i] = (float)((int64_t)(bits >> 32) - (int64_t)(bits & 0xFFFFFFFFu)) * draw_step;
    }
    for (size_t i = 0; i < count; i++)
        values[i] = to_whole(samples[i] * 32768.0f + noise[i], 32768.0f, 32767);
}

void tt_pcm_pack_16(const int32_t *values, unsigned char *bytes, size_t count, int copies)
{
    for (size_t i = 0; i < count; i++) {
        uint32_t value = (uint32_t)values[i];
        for (int c = 0; c < copies; c++, bytes += 2) {
            bytes[0] = (unsigned char)value;
            bytes[1] = (unsigned char)(value >> 8);
        }
    }
}

static inline void put_u32(unsigned char *bytes, uint32_t value)
{
    bytes[0] = (unsigned char)value;
    bytes[1] = (unsigned char)(value >> 8);
    bytes[2] = (unsigned char)(value >> 16);
    bytes[3] = (unsigned char)(value >> 24);
}

static inline void put_u24(unsigned char *bytes, uint32_t value)
{
    bytes[0] = (unsigned char)value;
    bytes[1] = (unsigned char)(value >> 8);
    bytes[2] = (unsigned char)(value >> 16);
}

TT_WIDE static void pack_24_single(const int32_t *restrict values, unsigned char *restrict bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        put_u24(bytes + 3 * i, (uint32_t)values[i]);
}

void tt_pcm_pack_24(const int32_t *values, unsigned char *bytes, size_t count, int copies)
{
    if (copies == 1) {
        pack_24_single(values, bytes, count);
        return;
    }
    for (size_t i = 0; i < count; i++)
        for (int c = 0; c < copies; c++, bytes += 3)
            put_u24(bytes, (uint32_t)values[i]);
}

void tt_pcm_pack_float(const float *samples, unsigned char *bytes, size_t count, int copies)
{
    for (size_t i = 0; i < count; i++) {
        uint32_t bits;
        memcpy(&bits, &samples[i], sizeof bits);
        for (int c = 0; c < copies; c++, bytes += 4)
            put_u32(bytes, bits);
    }
}

static inline uint32_t get_u32(const unsigned char *bytes)
{
    return (uint32_t)bytes[0] | (uint32_t)bytes[1] << 8 | (uint32_t)bytes[2] << 16 | (uint32_t)bytes[3] << 24;
}

/* The sample stands in the upper three bytes. */
static inline float of_upper_24(uint32_t bits)
{
    int32_t value;
    memcpy(&value, &bits, sizeof value);
    return (float)value * (1.0f / 2147483648.0f);
}

/* Four samples out of three words. */
TT_WIDE void tt_pcm_unpack_24(const unsigned char *restrict bytes, float *restrict samples, size_t count)
{
    size_t i = 0;
    for (; i + 4 <= count; i += 4, bytes += 12) {
        uint32_t a = get_u32(bytes), b = get_u32(bytes + 4), c = get_u32(bytes + 8);
        samples[i] = of_upper_24(a << 8);
        samples[i + 1] = of_upper_24((a >> 16 & 0xFF00u) | b << 16);
        samples[i + 2] = of_upper_24((b >> 8 & 0xFFFF00u) | c << 24);
        samples[i + 3] = of_upper_24(c & 0xFFFFFF00u);
    }
    for (; i < count; i++, bytes += 3)
        samples[i] = of_upper_24((uint32_t)bytes[0] << 8 | (uint32_t)bytes[1] << 16 | (uint32_t)bytes[2] << 24);
}
