/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The log-spectral-amplitude rule without libm: G^2 = xi/(1+xi) * F(v)/gamma with v = xi/(1+xi) * gamma and F(v) = v
 * exp(E1(v)), which is smooth: e^-gamma at 0, v + o(1) far out. A rational fit with the least largest error (computed,
 * no source) holds the gain to 0.0035 dB. */
#ifndef TT_DSP_LSA_FIT_H
#define TT_DSP_LSA_FIT_H

/* F(v) is the one over the other. */
static inline float tt_lsa_above(float v)
{
    return 0.56102193F + v * (0.84177063F + v * (0.48925835F + v * 0.20916389F));
}
static inline float tt_lsa_below(float v) { return 1.0F + v * (0.47928646F + v * 0.20916389F); }

#endif
