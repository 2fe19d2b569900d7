/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/gate_units.h"

#include <stdlib.h>
#include <string.h>

enum {
    UNIT_GRIDS = 64,             /* 16.4 s at 48 kHz: what is run in and looked ahead to costs 2 % */
    MOST_UNIT_SAMPLES = 1 << 20, /* at high rates, where a unit's memory counts for more */
    BLOCK_SAMPLES = 1 << 12
};

struct worker {
    struct tt_gate *gate;
    float *output; /* of one block */
};

struct units {
    size_t worker_count;
    struct worker workers[];
};

static void destroy(void *opaque)
{
    struct units *units = opaque;
    for (size_t i = 0; i < units->worker_count; i++) {
        tt_gate_destroy(units->workers[i].gate);
        free(units->workers[i].output);
    }
    free(units);
}

/* Of what is run in nothing is kept but what lies behind it. */
static void keep(const struct tt_unit *unit, size_t done, const float *output, size_t count)
{
    if (done + count > unit->run_in)
        memcpy(unit->samples, output + (unit->run_in - done), (done + count - unit->run_in) * sizeof *output);
}

/* The next output of the gate: behind what is run in, where it belongs, and output never overtakes input, so that it
 * comes to lie where all has been read. */
static float *place_of(const struct worker *me, const struct tt_unit *unit, size_t done)
{
    return done < unit->run_in ? me->output : unit->samples + (done - unit->run_in);
}

static void run(void *opaque, size_t worker, const struct tt_unit *unit)
{
    const struct worker *me = &((struct units *)opaque)->workers[worker];
    const size_t end = unit->run_in + unit->length;
    size_t at = 0, done = 0;
    tt_gate_start_at(me->gate, unit->first_sample);
    while (done < end) {
        const size_t part = unit->count - at < BLOCK_SAMPLES ? unit->count - at : BLOCK_SAMPLES;
        float *output = place_of(me, unit, done);
        const size_t ready =
            part > 0 ? tt_gate_run(me->gate, unit->samples + at, part, output) : tt_gate_finish(me->gate, output);
        if (output == me->output)
            keep(unit, done, output, ready);
        at += part;
        done += ready;
    }
}

bool tt_gate_units_open(const struct tt_floor_track *track, struct tt_gate_settings settings, size_t workers,
                        struct tt_unit_link *link, struct tt_error *err)
{
    const size_t grid = (size_t)TT_GATE_GRID_HOPS * (size_t)track->shape.hop_samples, most = MOST_UNIT_SAMPLES / grid;
    struct units *units = calloc(1, sizeof *units + workers * sizeof *units->workers);
    if (!units)
        return tt_fail_memory(err);
    size_t latency = 0;
    bool ok = true;
    for (size_t i = 0; ok && i < workers; i++) {
        struct worker *worker = &units->workers[units->worker_count++];
        ok = (worker->gate = tt_gate_create(track, settings, err)) != NULL;
        latency = ok ? tt_gate_latency(worker->gate) : 0;
        ok = ok &&
             ((worker->output = malloc((BLOCK_SAMPLES + latency) * sizeof *worker->output)) || tt_fail_memory(err));
    }
    if (!ok) {
        destroy(units);
        return false;
    }
    *link = (struct tt_unit_link){.state = units,
                                  .unit_samples = (UNIT_GRIDS < most ? UNIT_GRIDS : most) * grid,
                                  .run_in_samples = grid,
                                  .ahead_samples = latency,
                                  .run = run,
                                  .destroy = destroy};
    return true;
}

void tt_gate_units_want(struct tt_unit_link *link, const struct tt_span_samples *spans, size_t count)
{
    struct units *units = link->state;
    for (size_t i = 0; i < units->worker_count; i++)
        tt_gate_want(units->workers[i].gate, spans, count);
}
