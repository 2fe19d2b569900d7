/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Exponential and logarithm for loops that must vectorise: no branches, no library calls, same bits everywhere.
 * Polynomials fitted for the least largest error (computed, no source); the errors are held by tests. */
#ifndef TT_DSP_FAST_MATH_H
#define TT_DSP_FAST_MATH_H

#include <stdint.h>
#include <string.h>

#include "base/wide.h"

/* log2(x) for normal x > 0, within 2e-6 (6e-6 dB of power). */
static inline float tt_fast_log2(float x)
{
    int32_t bits;
    memcpy(&bits, &x, sizeof bits);
    /* 0x3f3504f3 is sqrt(1/2): the mantissa is taken from sqrt(1/2) to sqrt(2), where the polynomial is best. */
    const int32_t exponent = (bits - 0x3f3504f3) >> 23;
    bits -= exponent * 0x800000;
    float mantissa;
    memcpy(&mantissa, &bits, sizeof mantissa);
    const float z = mantissa - 1.0F;
    float p = 0.17616769F;
    p = p * z - 0.27097848F;
    p = p * z + 0.29509992F;
    p = p * z - 0.35918470F;
    p = p * z + 0.48064869F;
    p = p * z - 0.72136770F;
    p = p * z + 1.44269631F;
    return (float)exponent + p * z;
}

/* 2^x for x in -126..126, relative error under 1e-6. */
static inline float tt_fast_exp2(float x)
{
    /* Adding and taking away 1.5 * 2^23 rounds to the nearest whole number. */
    const float rounder = 12582912.0F;
    const float whole = (x + rounder) - rounder;
    const float z = x - whole;
    float p = 0.00132765F;
    p = p * z + 0.00967554F;
    p = p * z + 0.05550713F;
    p = p * z + 0.24022120F;
    p = p * z + 0.69314697F;
    p = p * z + 1.00000007F;
    const int32_t bits = ((int32_t)whole + 127) * 0x800000;
    float scale;
    memcpy(&scale, &bits, sizeof scale);
    return p * scale;
}

/* Square root for x >= 0 (normal or 0), relative error under 1e-5: sqrtf may set errno, and then does not vectorise.
 * The first guess halves the exponent of 1/sqrt(x); each step of Newton's doubles its digits (common practice, no
 * source). */
static inline float tt_fast_sqrt(float x)
{
    int32_t bits;
    memcpy(&bits, &x, sizeof bits);
    bits = 0x5f3759df - (bits >> 1);
    float inverse;
    memcpy(&inverse, &bits, sizeof inverse);
    const float half = 0.5F * x;
    inverse = inverse * (1.5F - half * inverse * inverse);
    inverse = inverse * (1.5F - half * inverse * inverse);
    return x * inverse;
}

#endif
