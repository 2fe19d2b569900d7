/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The room turned down: mains hum taken out by notches, the rest by a log-spectral gain under the floor that was heard.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/gate_units.h"
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
    (void)err;
    struct gate_hearing *state = opaque;
    if (state->hum)
        tt_hum_finder_add(state->hum, frame->samples, state->hop_samples);
    return true;
}

static bool gate_hear_close(void *opaque, struct tt_hearing *hearing, struct tt_error *err)
{
    (void)err;
    struct gate_hearing *state = opaque;
    /* The floor keeps the hum in it, though the gate hears the take without: cleared of it, what is left of a weak hum
     * would stand over the floor, and pauses would come down by 11 to 12 dB in place of 15 (measured). The voice keeps
     * its colour within 0.1 dB either way. */
    if (state->hum)
        hearing->heard->facts.hum = tt_hum_finder_result(state->hum);
    return true;
}

/* ---- rendering ---- */

/* Works in place and without delay, on what is copied for it. */
static size_t hum_run(void *filter, const float *samples, size_t count, float *output)
{
    memcpy(output, samples, count * sizeof *output);
    tt_hum_filter_run(filter, output, count);
    return count;
}

static void hum_destroy(void *filter) { tt_hum_filter_destroy(filter); }

/* Of hum and room together in a period of the mains, which the floor's windows are nearly as long as. */
static bool open_hum_filter(const struct tt_rendering *rendering, struct tt_hum_filter **filter, struct tt_error *err)
{
    const struct tt_floor_track *floor = &rendering->heard->floor;
    const struct tt_hum *hum = &rendering->heard->facts.hum;
    float sizes[TT_HUM_HARMONICS], *power = malloc((size_t)floor->shape.bin_count * sizeof *power);
    if (!power)
        return tt_fail_memory(err);
    tt_floor_at(floor, rendering->start_sample, power);
    for (int k = 0; k < TT_HUM_HARMONICS; k++) {
        const double bin = (k + 1) * hum->base_hz * floor->shape.window_samples / floor->shape.rate_hz;
        /* Noise of power p has steps of sqrt(4 p / period), a tone nearly the same by the power that a sine window
         * shows of it. */
        sizes[k] = bin < floor->shape.bin_count - 1
                       ? sqrtf(4.0F * power[lround(bin)] / (float)floor->shape.window_samples)
                       : 0.0F;
    }
    free(power);
    return (*filter = tt_hum_filter_create(rendering->heard->facts.rate_hz, hum, sizes, err)) != NULL;
}

static bool gate_render_open(const struct tt_rendering *rendering, struct tt_link *link, struct tt_error *err)
{
    if (rendering->settings->gate.hum == TT_HUM_OFF || rendering->heard->facts.hum.base_hz <= 0)
        return true;
    struct tt_hum_filter *filter = NULL;
    if (!open_hum_filter(rendering, &filter, err))
        return false;
    *link = (struct tt_link){.state = filter, .run = hum_run, .destroy = hum_destroy};
    return true;
}

static bool gate_render_units(const struct tt_rendering *rendering, struct tt_unit_link *link, struct tt_error *err)
{
    const struct tt_gate_settings gate = {.depth_db = rendering->settings->gate.depth_db,
                                          .keep_faint_db = rendering->settings->gate.keep_faint_db};
    if (gate.depth_db <= 0)
        return true;
    if (!tt_gate_units_open(&rendering->heard->floor, gate, rendering->threads, link, err))
        return false;
    tt_gate_units_want(link, rendering->wanted, rendering->wanted_count);
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
    .render_units = gate_render_units,
};
