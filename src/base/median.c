/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/median.h"

#include <math.h>
#include <stdlib.h>

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double tt_median(double *values, size_t count)
{
    if (count == 0)
        return NAN;
    qsort(values, count, sizeof *values, compare);
    return count % 2 ? values[count / 2] : 0.5 * (values[count / 2 - 1] + values[count / 2]);
}
