/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Quiet frames gathered into steps of half a second: mean power by bin, robust against clicks, in a ring of recent
 * steps. */
#ifndef TT_DSP_FLOOR_STEPS_H
#define TT_DSP_FLOOR_STEPS_H

#include "base/span.h"
#include "dsp/stft.h"

enum { TT_FLOOR_BANDS = 8 };

struct tt_floor_step {
    int64_t index;                 /* covers index * step_samples and on */
    int frames;                    /* quiet frames in the mean; 0: nothing heard */
    float band_db[TT_FLOOR_BANDS]; /* mean power of each band */
    /* From the centre of the first to that of the last: of the frames in the mean, and of all that were quiet. */
    struct tt_span_samples counted, quiet;
};

struct tt_floor_steps {
    struct tt_stft_shape shape;
    int64_t step_samples;
    int64_t open; /* index of the step being gathered; those before it are closed */
    int64_t ring_count;
    struct tt_floor_step *ring;
    float *rows;                        /* mean power, a row a step */
    int band_first[TT_FLOOR_BANDS + 1]; /* bins; an empty band has its first at the next one's */
    float *frames;                      /* of the open step */
    int64_t *frame_sample;
    float *frame_bands;
    int frame_count, frame_room;
};

bool tt_floor_steps_init(struct tt_floor_steps *steps, struct tt_stft_shape shape, double ring_s, struct tt_error *err);
void tt_floor_steps_free(struct tt_floor_steps *steps);
/* A quiet frame of the open step. */
void tt_floor_steps_add(struct tt_floor_steps *steps, int64_t sample, const float *power);
/* Takes back the open step's frames from this position on. */
void tt_floor_steps_take_back(struct tt_floor_steps *steps, int64_t sample);
/* Closes the open step and opens the next. */
void tt_floor_steps_close(struct tt_floor_steps *steps);
/* A closed step still in the ring, or NULL. */
const struct tt_floor_step *tt_floor_steps_get(const struct tt_floor_steps *steps, int64_t index);
const float *tt_floor_steps_row(const struct tt_floor_steps *steps, int64_t index);

/* Mean power of each band of a row, in dB; an empty band reads as a constant. */
void tt_floor_steps_bands(const struct tt_floor_steps *steps, const float *row, float *band_db);
/* A row whose bands are moved by so many dB each. */
void tt_floor_steps_shift(const struct tt_floor_steps *steps, const float *row, const float *shift_db, float *shifted);

/* The median of values, which change places; 0 without any. */
float tt_floor_median(double *values, int count);

#endif
