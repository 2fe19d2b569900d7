/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The room turned down: mains hum taken out by notches, the rest by a log-spectral gain under the floor that was heard. */
#include <stdlib.h>

#include "dsp/gate.h"
#include "dsp/hum.h"
#include "stages/stage.h"

struct gate_hearing {
    struct tt_hum_finder *hum; /* NULL when hum = off */
    size_t hop_samples;
};

static void gate_hear_free(void *state)
{
    struct gate_hearing *hearing = state;
    if (!hearing)
        return;
    tt_hum_finder_destroy(hearing->hum);
    free(hearing);
}

static void *gate_hear_open(const struct tt_hearing *hearing, struct tt_error *err)
{
    struct gate_hearing *state = calloc(1, sizeof *state);
    if (!state) {
        tt_fail_memory(err);
        return NULL;
    }
    state->hop_samples = (size_t)hearing->shape.hop_samples;
    enum tt_hum_policy policy = hearing->settings->gate.hum;
    if (policy == TT_HUM_OFF)
        return state;
    int base_hz = policy == TT_HUM_50 ? 50 : policy == TT_HUM_60 ? 60 : 0;
    state->hum = tt_hum_finder_create(hearing->shape.rate_hz, base_hz, err);
    if (!state->hum) {
        gate_hear_free(state);
        return NULL;
    }
    return state;
}

static bool gate_hear_frame(void *opaque, const struct tt_hear_frame *frame, struct tt_error *err)
{
    struct gate_hearing *state = opaque;
    return !state->hum || tt_hum_finder_add(state->hum, frame->samples, state->hop_samples, err);
}

static bool gate_hear_close(void *opaque, struct tt_hearing *hearing, struct tt_error *err)
{
    (void)err;
    struct gate_hearing *state = opaque;
    /* The floor keeps the hum in it, though the gate hears the take without: cleared of it, what is left of a weak hum would stand over the floor, and
     * pauses would come down by 11 to 12 dB in place of 15 (measured). The voice keeps its colour within 0.1 dB either way. */
    if (state->hum)
        hearing->heard->facts.hum = tt_hum_finder_result(state->hum);
    return true;
}

/* Hum filter and gate in one link: the filter works in place and without delay. */
struct gate_rendering {
    struct tt_hum_filter *hum; /* NULL without hum */
    struct tt_gate *gate;      /* NULL with depth_db = 0 */
    float *dehummed;
};

enum { GATE_MOST_SAMPLES = 1 << 16 }; /* of one call; the pipeline's blocks are smaller */

static void gate_render_destroy(void *opaque)
{
    struct gate_rendering *state = opaque;
    if (!state)
        return;
    tt_hum_filter_destroy(state->hum);
    tt_gate_destroy(state->gate);
    free(state->dehummed);
    free(state);
}

static size_t gate_render_run(void *opaque, const float *samples, size_t count, float *output)
{
    struct gate_rendering *state = opaque;
    size_t written = 0;
    while (count > 0) {
        size_t part = count < GATE_MOST_SAMPLES ? count : GATE_MOST_SAMPLES;
        const float *input = samples;
        if (state->hum) {
            for (size_t i = 0; i < part; i++)
                state->dehummed[i] = samples[i];
            tt_hum_filter_run(state->hum, state->dehummed, part);
            input = state->dehummed;
        }
        if (state->gate) {
            written += tt_gate_run(state->gate, input, part, output + written);
        } else {
            for (size_t i = 0; i < part; i++)
                output[written + i] = input[i];
            written += part;
        }
        samples += part;
        count -= part;
    }
    return written;
}

static size_t gate_render_finish(void *opaque, float *output)
{
    struct gate_rendering *state = opaque;
    return state->gate ? tt_gate_finish(state->gate, output) : 0;
}

static bool gate_render_open(const struct tt_rendering *rendering, struct tt_link *link, struct tt_error *err)
{
    const struct tt_settings *settings = rendering->settings;
    const struct tt_hum *hum = &rendering->heard->facts.hum;
    bool wants_hum = settings->gate.hum != TT_HUM_OFF && hum->base_hz > 0;
    bool wants_gate = settings->gate.depth_db > 0;
    if (!wants_hum && !wants_gate)
        return true;
    struct gate_rendering *state = calloc(1, sizeof *state);
    if (!state)
        return tt_fail_memory(err);
    bool ok = true;
    if (wants_hum) {
        state->dehummed = malloc(GATE_MOST_SAMPLES * sizeof *state->dehummed);
        ok = state->dehummed || tt_fail_memory(err);
        ok = ok && (state->hum = tt_hum_filter_create(rendering->heard->facts.rate_hz, hum, err)) != NULL;
    }
    if (ok && wants_gate) {
        struct tt_gate_settings gate = {.depth_db = settings->gate.depth_db, .keep_faint_db = settings->gate.keep_faint_db};
        ok = (state->gate = tt_gate_create(&rendering->heard->floor, gate, err)) != NULL;
        if (ok) {
            tt_gate_start_at(state->gate, rendering->start_sample);
            tt_gate_want(state->gate, rendering->wanted, rendering->wanted_count);
        }
    }
    if (!ok) {
        gate_render_destroy(state);
        return false;
    }
    *link = (struct tt_link){.state = state,
                             .run = gate_render_run,
                             .finish = gate_render_finish,
                             .latency_samples = state->gate ? tt_gate_latency(state->gate) : 0,
                             .destroy = gate_render_destroy};
    return true;
}

const struct tt_stage tt_stage_gate = {
    .name = "gate",
    .summary = "turns the room and mains hum down and leaves the voice",
    .hear_open = gate_hear_open,
    .hear_frame = gate_hear_frame,
    .hear_close = gate_hear_close,
    .hear_free = gate_hear_free,
    .render_open = gate_render_open,
};
