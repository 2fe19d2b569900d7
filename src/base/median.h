/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_BASE_MEDIAN_H
#define TT_BASE_MEDIAN_H

#include <stddef.h>

/* Median of finite values, of an even count the mean of the middle two; NAN without any. values[] is sorted by it. */
double tt_median(double *values, size_t count);

#endif
