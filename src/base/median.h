/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_BASE_MEDIAN_H
#define TT_BASE_MEDIAN_H

#include <stddef.h>

/* Median of finite values, of an even count the mean of the middle two; NAN without any. The values change places. */
double tt_median(double *values, size_t count);

/* The value that would stand at place n of count if they were in order; they change places: none before place n is
 * larger, none behind it smaller. */
double tt_nth_smallest(double *values, size_t count, size_t n);

#endif
