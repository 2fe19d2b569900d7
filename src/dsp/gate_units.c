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

/* Moves what belongs to the unit out of what has come, of which `done` samples came before; returns how many of the
 * unit are there by then. */
static size_t keep(const struct tt_unit *unit, size_t done, const float *output, size_t count)
{
    const size_t from = done < unit->run_in ? unit->run_in : done, to = done + count, end = unit->run_in + unit->length;
    const size_t until = to < end ? to : end;
    if (until > from)
        memcpy(unit->samples + (from - unit->run_in), output + (from - done), (until - from) * sizeof *output);
    return until > unit->run_in ? until - unit->run_in : 0;
}

/* Output never overtakes input: what is written lies where it has been read. */
static void run(void *opaque, size_t worker, const struct tt_unit *unit)
{
    const struct worker *me = &((struct units *)opaque)->workers[worker];
    size_t at = 0, done = 0, kept = 0;
    tt_gate_start_at(me->gate, unit->first_sample);
    while (kept < unit->length && at < unit->count) {
        const size_t part = unit->count - at < BLOCK_SAMPLES ? unit->count - at : BLOCK_SAMPLES;
        const size_t ready = tt_gate_run(me->gate, unit->samples + at, part, me->output);
        kept = keep(unit, done, me->output, ready);
        at += part;
        done += ready;
    }
    if (kept < unit->length)
        keep(unit, done, me->output, tt_gate_finish(me->gate, me->output));
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
