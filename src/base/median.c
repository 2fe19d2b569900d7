/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/median.h"

#include <math.h>
#include <stdint.h>

/* Hoare 1961: in the mean some three looks at each value, where to sort them takes some ten. */
double tt_nth_smallest(double *values, size_t count, size_t n)
{
    const int64_t wanted = (int64_t)n;
    int64_t first = 0, last = (int64_t)count - 1;
    while (first < last) {
        const double pivot = values[wanted];
        int64_t i = first, j = last;
        while (i <= j) {
            while (values[i] < pivot)
                i++;
            while (pivot < values[j])
                j--;
            if (i > j)
                break;
            const double kept = values[i];
            values[i++] = values[j];
            values[j--] = kept;
        }
        if (j < wanted)
            first = i;
        if (wanted < i)
            last = j;
    }
    return values[wanted];
}

double tt_median(double *values, size_t count)
{
    if (count == 0)
        return NAN;
    const size_t middle = count / 2;
    const double upper = tt_nth_smallest(values, count, middle);
    if (count % 2)
        return upper;
    double lower = values[0];
    for (size_t i = 1; i < middle; i++)
        lower = values[i] > lower ? values[i] : lower;
    return 0.5 * (lower + upper);
}
