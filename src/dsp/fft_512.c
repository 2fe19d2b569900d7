/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Decimation in frequency that sorts itself on the way (Stockham; common practice, as handbooks of the fast transform
 * have it): a pass takes eight points, an eighth of what it works on apart, turns their transform by twiddles, and lays
 * it side by side. */
#include "dsp/fft_512.h"

#include <math.h>
#include <pthread.h>

#include "base/lanes.h"
#include "base/wide.h"

#define PI 3.14159265358979323846
#define ROOT_HALF 0.70710678118654752F

enum { EIGHTH = TT_FFT_512 / 8, LANES = TT_LANES / 2 };

/* Of the first pass by k, then p; of the second by p, then k: e^(-2 pi i p k / N), N = 512 and 64. */
static float first_re[8][EIGHTH], first_im[8][EIGHTH], second_re[8][8], second_im[8][8];

static void fill_twiddles(void)
{
    for (int k = 0; k < 8; k++)
        for (int p = 0; p < EIGHTH; p++) {
            first_re[k][p] = (float)cos(2.0 * PI * p * k / TT_FFT_512);
            first_im[k][p] = (float)-sin(2.0 * PI * p * k / TT_FFT_512);
        }
    for (int p = 0; p < 8; p++)
        for (int k = 0; k < 8; k++) {
            second_re[p][k] = (float)cos(2.0 * PI * p * k / EIGHTH);
            second_im[p][k] = (float)-sin(2.0 * PI * p * k / EIGHTH);
        }
}

/* The transform of eight points X0..X7, which are pairs of RE and IM, into y0_re, y0_im .. y7_re, y7_im. T: what they
 * are numbers of. As a macro, since gcc 12 makes neither vectors nor registers of structures of them. */
#define FOUR(T, a, b, c, d, y)                                                                                         \
    const T y##s0_re = a##_re + c##_re, y##s0_im = a##_im + c##_im, y##d0_re = a##_re - c##_re,                        \
            y##d0_im = a##_im - c##_im, y##s1_re = b##_re + d##_re, y##s1_im = b##_im + d##_im,                        \
            y##d1_re = b##_im - d##_im, y##d1_im = d##_re - b##_re;                                                    \
    const T y##0_re = y##s0_re + y##s1_re, y##0_im = y##s0_im + y##s1_im, y##1_re = y##d0_re + y##d1_re,               \
            y##1_im = y##d0_im + y##d1_im, y##2_re = y##s0_re - y##s1_re, y##2_im = y##s0_im - y##s1_im,               \
            y##3_re = y##d0_re - y##d1_re, y##3_im = y##d0_im - y##d1_im
#define EIGHT(T)                                                                                                       \
    FOUR(T, x0, x2, x4, x6, e);                                                                                        \
    FOUR(T, x1, x3, x5, x7, o);                                                                                        \
    const T t1_re = ROOT_HALF * (o1_re + o1_im), t1_im = ROOT_HALF * (o1_im - o1_re),                                  \
            t3_re = ROOT_HALF * (o3_im - o3_re), t3_im = -ROOT_HALF * (o3_re + o3_im);                                 \
    const T y0_re = e0_re + o0_re, y0_im = e0_im + o0_im, y4_re = e0_re - o0_re, y4_im = e0_im - o0_im;                \
    const T y1_re = e1_re + t1_re, y1_im = e1_im + t1_im, y5_re = e1_re - t1_re, y5_im = e1_im - t1_im;                \
    const T y2_re = e2_re + o2_im, y2_im = e2_im - o2_re, y6_re = e2_re - o2_im, y6_im = e2_im + o2_re;                \
    const T y3_re = e3_re + t3_re, y3_im = e3_im + t3_im, y7_re = e3_re - t3_re, y7_im = e3_im - t3_im
#define EACH_OF_EIGHT(DO) DO(0) DO(1) DO(2) DO(3) DO(4) DO(5) DO(6) DO(7)
#define EACH_TURNED(DO) DO(1) DO(2) DO(3) DO(4) DO(5) DO(6) DO(7)

TT_WIDE static void first_pass(const float *restrict re, const float *restrict im, float *restrict out_re,
                               float *restrict out_im)
{
    for (int p = 0; p < EIGHTH; p++) {
#define TAKE(k) const float x##k##_re = re[p + k * EIGHTH], x##k##_im = im[p + k * EIGHTH];
        EACH_OF_EIGHT(TAKE)
#undef TAKE
        EIGHT(float);
        out_re[8 * p] = y0_re;
        out_im[8 * p] = y0_im;
#define LAY(k)                                                                                                         \
    out_re[8 * p + k] = y##k##_re * first_re[k][p] - y##k##_im * first_im[k][p];                                       \
    out_im[8 * p + k] = y##k##_re * first_im[k][p] + y##k##_im * first_re[k][p];
        EACH_TURNED(LAY)
#undef LAY
    }
}

#define LOAD(k, at)                                                                                                    \
    tt_half_lanes x##k##_re, x##k##_im;                                                                                \
    memcpy(&x##k##_re, re + (at) + k * EIGHTH, sizeof x##k##_re);                                                      \
    memcpy(&x##k##_im, im + (at) + k * EIGHTH, sizeof x##k##_im);
#define STORE(k, at)                                                                                                   \
    memcpy(out_re + (at), &y##k##_re, sizeof y##k##_re);                                                               \
    memcpy(out_im + (at), &y##k##_im, sizeof y##k##_im);

TT_WIDE static void second_pass(const float *restrict re, const float *restrict im, float *restrict out_re,
                                float *restrict out_im)
{
    for (int p = 0; p < 8; p++) {
#define TAKE(k) LOAD(k, p *LANES)
        EACH_OF_EIGHT(TAKE)
#undef TAKE
        EIGHT(tt_half_lanes);
        STORE(0, 8 * p * LANES)
#define LAY(k)                                                                                                         \
    const tt_half_lanes z##k##_re = y##k##_re * second_re[p][k] - y##k##_im * second_im[p][k],                         \
                        z##k##_im = y##k##_re * second_im[p][k] + y##k##_im * second_re[p][k];                         \
    memcpy(out_re + (8 * p + k) * LANES, &z##k##_re, sizeof z##k##_re);                                                \
    memcpy(out_im + (8 * p + k) * LANES, &z##k##_im, sizeof z##k##_im);
        EACH_TURNED(LAY)
#undef LAY
    }
}

TT_WIDE static void last_pass(const float *restrict re, const float *restrict im, float *restrict out_re,
                              float *restrict out_im)
{
    for (int q = 0; q < EIGHTH; q += LANES) {
#define TAKE(k) LOAD(k, q)
        EACH_OF_EIGHT(TAKE)
#undef TAKE
        EIGHT(tt_half_lanes);
#define LAY(k) STORE(k, q + k * EIGHTH)
        EACH_OF_EIGHT(LAY)
#undef LAY
    }
}

bool tt_fft_512_is_quicker(void) { return TT_IS_WIDEST(); }

void tt_fft_512(const float *in_re, const float *in_im, float *room, float *out_re, float *out_im)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;
    pthread_once(&once, fill_twiddles);
    first_pass(in_re, in_im, out_re, out_im);
    second_pass(out_re, out_im, room, room + TT_FFT_512);
    last_pass(room, room + TT_FFT_512, out_re, out_im);
}
