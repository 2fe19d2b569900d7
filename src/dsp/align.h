/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Do two stretches of sound say the same from their beginnings on, and how far? Open-end local alignment in time. */
#ifndef TT_DSP_ALIGN_H
#define TT_DSP_ALIGN_H

#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"

/* A row is a vector of so many numbers with length 180, so that the product of two rows fits 16 bits: 32400 is 'the
 * same'. */
enum { TT_ALIGN_LANES = 16, TT_ALIGN_LENGTH = 180, TT_ALIGN_SAME = TT_ALIGN_LENGTH * TT_ALIGN_LENGTH };

/* Scales a vector to a row; all zeros stay zeros (unlike anything). lane_stride is the distance between its numbers. */
void tt_align_row(const float vector[TT_ALIGN_LANES], int16_t *row, size_t lane_stride);

/* Rows of sound, lane by lane: number l of row r is numbers[l * stride + r]. Borrowed. */
struct tt_align_rows {
    const int16_t *numbers;
    size_t stride;
};

/* likeness[k] = product of row x with row y + k, for count rows. */
void tt_align_compare(const struct tt_align_rows *rows, size_t x, size_t y, int count, int16_t *restrict likeness);

struct tt_align_task {
    struct tt_align_rows rows; /* both stretches lie in it */
    size_t x_start, x_end;     /* the earlier stretch may reach so far, end exclusive */
    size_t y_start, y_end;     /* the later one */
    float tau;                 /* likeness (cosine) at which a step neither gains nor loses */
    float beam;                /* give up where the score is so far under the best one */
    float least;               /* and where it falls under this (negative): the beginnings are different */
    int slack_rows;            /* either may begin so many rows late */
    int early_rows;            /* behind so many rows ... */
    float early_least;         /* ... the best score so far must be this at least, else the alignment ends */
};

/* After each row of x: the best score of a path that ends in it (very low where none does), and that path's row of y.
 * Relative to the starts. */
struct tt_align_end {
    float score;
    int y;
};

/* Working memory for alignments, one a thread. Alignments longer than it holds end there. */
struct tt_align;
struct tt_align *tt_align_create(struct tt_error *err);
void tt_align_destroy(struct tt_align *align);

/* Aligns. Steps go one row on in both, or two in one and one in the other; each adds (rows gone on in x and y) *
 * (likeness - tau). Returns how many rows of x were reached; ends[] of them is borrowed until the next run. */
size_t tt_align_run(struct tt_align *align, const struct tt_align_task *task, const struct tt_align_end **ends);

/* One cell of a path. */
struct tt_align_cell {
    int x, y;
    float likeness;
};
/* The best path of the last run that ends in row x, beginning first; borrowed until the next run. Returns its length, 0
 * when there is none. */
size_t tt_align_path(struct tt_align *align, const struct tt_align_task *task, size_t x,
                     const struct tt_align_cell **path);

#endif
