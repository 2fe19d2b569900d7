/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How fast somebody reads: syllables a second of speech, over stretches that are long enough to say so. */
#ifndef TT_SHEET_PACE_H
#define TT_SHEET_PACE_H

#include "sheet/heard.h"
#include "sheet/time_map.h"

struct tt_pace_stretch {
    int64_t start_sample, end_sample; /* in the take */
    double syllables_per_s;
};
struct tt_pace {
    struct tt_pace_stretch *stretches; /* rising */
    size_t count;                      /* 0: less than ten seconds of speech */
    double syllables_per_s;            /* of all of them together, NAN without any */
};

/* map NULL: all of the take; else what stays of it. */
bool tt_pace_find(const struct tt_heard *heard, const struct tt_time_map *map, struct tt_pace *pace,
                  struct tt_error *err);
void tt_pace_free(struct tt_pace *pace);

/* The narrator's own range, from the paces of all stretches (they are used up). False with too few to know it. */
bool tt_pace_own_range(double *paces, size_t count, double *usual, double *least, double *most);

#endif
