/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Between the two parts of the rumble filter: its design, and what runs it. */
#ifndef TT_DSP_HIGHPASS_PARTS_H
#define TT_DSP_HIGHPASS_PARTS_H

#include <stdbool.h>
#include <stdint.h>

#include "dsp/highpass.h"

enum {
    SPLINE_REACH = 2, /* low-rate steps that a cubic B-spline reaches to each side */
    DROOP_REACH = 3,  /* low-rate neighbours that undo the droop */
    ORDER = 4
};

struct section {
    double b0, b1, b2, a1, a2;
};
struct section_state {
    double s1, s2;
};

struct tt_highpass {
    size_t step; /* input samples per low-rate sample */
    size_t block_low, ahead_low;
    size_t low_count; /* low-rate values that a block works on */
    size_t span;      /* input samples that must be there before a block can be done */
    size_t lead;      /* mirrored samples in front of the take */
    struct section sections[ORDER / 2];
    struct section_state states[ORDER / 2];
    size_t tap_count; /* 4 * step + 1, and zeros that fill it up to pairs of vectors */
    float *down_taps;
    float *step_output; /* one step of output */
    float *up_taps;     /* 4 rows of step: weight of the 4 low neighbours at each offset */
    double droop[DROOP_REACH + 1];

    /* The stream is the take with its first part mirrored in front of it. fifo[0] is SPLINE_REACH steps before the next
     * block; low[i], smooth[i] and back[i] belong to fifo[i * step]. */
    float *fifo;
    size_t fifo_count, fifo_size;
    bool has_lead; /* the mirror image is in place */
    bool has_settled;
    size_t drop;    /* outputs of the mirror image, still to be dropped */
    uint64_t owed;  /* outputs still to come for the input seen */
    double *low;    /* decimated */
    double *smooth; /* after the droop filter and the forward run */
    double *back;   /* after the backward run */
    size_t low_have, smooth_have;
};

/* highpass_design.c. Sections and sizes, before memory is got by them; then the taps. */
void highpass_design(struct tt_highpass *filter, int rate_hz, double cutoff_hz);
void highpass_fill_taps(struct tt_highpass *filter);

#endif
