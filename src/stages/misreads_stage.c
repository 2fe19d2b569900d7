/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Misreads as a stage: keeps what each moment sounds like while a take is heard; deciding is in misreads.c. */
#include <stdlib.h>

#include "dsp/cepstra.h"
#include "stages/misreads.h"
#include "stages/stage.h"

/* Two STFT frames make one row: 10.7 ms, the hop that the alignment was tuned at. */
enum { FRAMES_A_ROW = 2 };

struct misreads_hearing {
    struct tt_cepstra *cepstra;
    struct tt_heard_writer *writer;
    float *sum;    /* power of the frames of the row under way */
    int bin_count; /* those that the cepstra look at */
    int frames_in_row;
};

static void misreads_hear_free(void *opaque)
{
    struct misreads_hearing *state = opaque;
    if (!state)
        return;
    tt_cepstra_destroy(state->cepstra);
    free(state->sum);
    free(state);
}

static void *misreads_hear_open(const struct tt_hearing *hearing, struct tt_error *err)
{
    struct misreads_hearing *state = calloc(1, sizeof *state);
    if (!state || !(state->sum = calloc((size_t)hearing->shape.bin_count, sizeof *state->sum))) {
        misreads_hear_free(state);
        tt_fail_memory(err);
        return NULL;
    }
    state->writer = hearing->writer;
    state->cepstra = tt_cepstra_create(hearing->shape, err);
    if (!state->cepstra) {
        misreads_hear_free(state);
        return NULL;
    }
    state->bin_count = tt_cepstra_bins(state->cepstra);
    return state;
}

static bool write_row(struct misreads_hearing *state, struct tt_error *err)
{
    int8_t row[TT_CEPSTRA];
    float scale = 1.0f / (float)state->frames_in_row;
    for (int k = 0; k < state->bin_count; k++)
        state->sum[k] *= scale;
    const int8_t level_db = tt_cepstra_of(state->cepstra, state->sum, row);
    state->frames_in_row = 0;
    return tt_heard_writer_add_row(state->writer, row, level_db, err);
}

static bool misreads_hear_frame(void *opaque, const struct tt_hear_frame *frame, struct tt_error *err)
{
    struct misreads_hearing *state = opaque;
    if (state->frames_in_row == 0) {
        for (int k = 0; k < state->bin_count; k++)
            state->sum[k] = frame->power[k];
    } else {
        for (int k = 0; k < state->bin_count; k++)
            state->sum[k] += frame->power[k];
    }
    return ++state->frames_in_row < FRAMES_A_ROW || write_row(state, err);
}

static bool misreads_hear_close(void *opaque, struct tt_hearing *hearing, struct tt_error *err)
{
    struct misreads_hearing *state = opaque;
    hearing->heard->facts.feature_hop_samples = FRAMES_A_ROW * hearing->shape.hop_samples;
    return state->frames_in_row == 0 || write_row(state, err);
}

const struct tt_stage tt_stage_misreads = {
    .name = "misreads",
    .summary = "finds readings that a later reading replaces",
    .hear_open = misreads_hear_open,
    .hear_frame = misreads_hear_frame,
    .hear_close = misreads_hear_close,
    .hear_free = misreads_hear_free,
    .decide = tt_misreads_decide,
};
