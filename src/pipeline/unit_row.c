/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/unit_row.h"

#include <stdlib.h>
#include <string.h>

#include "base/crew.h"
#include "base/large.h"

enum { LARGE_BYTES = 1 << 21, SINK_SAMPLES = 1 << 14 };

struct tt_unit_row {
    const struct tt_unit_link *link;
    tt_sink sink;
    void *context;
    struct tt_crew *crew;
    struct tt_unit *units; /* under way */
    void **pieces;         /* the same, for the crew */
    size_t unit_count;
    struct tt_unit *filling; /* NULL: none */
    int64_t next_sample;     /* where the unit begins that is filled, or will be */
    float *carried; /* what it shares with the one before it: first what is run in, then what that looked ahead to */
    size_t carried_count, run_in;
    int64_t left; /* samples of the stream still to come */
};

static bool run_unit(void *context, size_t worker, void *piece, struct tt_error *err)
{
    (void)err;
    const struct tt_unit_row *row = context;
    row->link->run(row->link->state, worker, piece);
    return true;
}

/* In blocks that stay in the processor's cache on their way through what comes behind. */
static bool take_unit(void *context, void *piece, struct tt_error *err)
{
    const struct tt_unit_row *row = context;
    const struct tt_unit *unit = piece;
    for (size_t at = 0; at < unit->length; at += SINK_SAMPLES) {
        const size_t part = unit->length - at < SINK_SAMPLES ? unit->length - at : SINK_SAMPLES;
        if (!row->sink(row->context, unit->samples + at, part, err))
            return false;
    }
    return true;
}

static bool allocate(struct tt_unit_row *row, int64_t length, size_t threads)
{
    const struct tt_unit_link *link = row->link;
    const size_t shared = link->run_in_samples + link->ahead_samples, longest = link->unit_samples + shared;
    const size_t room = length < (int64_t)longest ? (size_t)length + 1 : longest, bytes = room * sizeof(float);
    const size_t most = (size_t)(length / (int64_t)link->unit_samples) + 2, wanted = threads > 1 ? threads + 2 : 1;
    row->unit_count = wanted < most ? wanted : most;
    row->units = calloc(row->unit_count, sizeof *row->units);
    row->pieces = calloc(row->unit_count, sizeof *row->pieces);
    row->carried = malloc(shared * sizeof *row->carried);
    bool ok = row->units && row->pieces && row->carried;
    for (size_t i = 0; ok && i < row->unit_count; i++) {
        row->pieces[i] = &row->units[i];
        row->units[i].samples = bytes < LARGE_BYTES ? malloc(bytes) : tt_alloc_large(bytes);
        ok = row->units[i].samples != NULL;
    }
    return ok;
}

struct tt_unit_row *tt_unit_row_open(const struct tt_unit_link *link, int64_t start_sample, int64_t length,
                                     size_t threads, tt_sink sink, void *context, struct tt_error *err)
{
    struct tt_unit_row *row = calloc(1, sizeof *row);
    if (!row) {
        tt_fail_memory(err);
        return NULL;
    }
    *row = (struct tt_unit_row){
        .link = link, .sink = sink, .context = context, .next_sample = start_sample, .left = length};
    if (!allocate(row, length, threads)) {
        tt_fail_memory(err);
        tt_unit_row_close(row);
        return NULL;
    }
    const struct tt_crew_plan plan = {
        .work = run_unit, .take = take_unit, .context = row, .pieces = row->pieces, .piece_count = row->unit_count};
    if (!(row->crew = tt_crew_open(&plan, threads, err))) {
        tt_unit_row_close(row);
        return NULL;
    }
    return row;
}

void tt_unit_row_close(struct tt_unit_row *row)
{
    if (!row)
        return;
    tt_crew_close(row->crew);
    for (size_t i = 0; row->units && i < row->unit_count; i++)
        free(row->units[i].samples);
    free(row->units);
    free(row->pieces);
    free(row->carried);
    free(row);
}

/* Samples from the unit's beginning to the next one's. */
static size_t whole_length(const struct tt_unit_row *row)
{
    const int64_t unit = (int64_t)row->link->unit_samples;
    return (size_t)(unit - row->next_sample % unit);
}

static bool begin_unit(struct tt_unit_row *row, struct tt_error *err)
{
    struct tt_unit *unit = tt_crew_piece(row->crew, err);
    if (!unit)
        return false;
    unit->first_sample = row->next_sample - (int64_t)row->run_in;
    unit->run_in = row->run_in;
    unit->count = row->carried_count;
    memcpy(unit->samples, row->carried, row->carried_count * sizeof *row->carried);
    row->filling = unit;
    return true;
}

/* The unit is whole, or the stream ends in it. What the next one shares with it is kept before anybody works on it. */
static void send_unit(struct tt_unit_row *row)
{
    struct tt_unit *unit = row->filling;
    const size_t own = unit->count - unit->run_in, whole = whole_length(row);
    unit->length = own < whole ? own : whole;
    const size_t end = unit->run_in + unit->length;
    row->run_in = end < row->link->run_in_samples ? end : row->link->run_in_samples;
    row->carried_count = unit->count - (end - row->run_in);
    memcpy(row->carried, unit->samples + (end - row->run_in), row->carried_count * sizeof *row->carried);
    row->next_sample += (int64_t)unit->length;
    row->filling = NULL;
    tt_crew_add(row->crew);
}

bool tt_unit_row_add(void *opaque, const float *samples, size_t count, struct tt_error *err)
{
    struct tt_unit_row *row = opaque;
    row->left -= (int64_t)count;
    if (row->left < 0)
        return tt_fail(err, TT_ERROR_INTERNAL, "a stream is longer than it was said to be");
    while (count > 0) {
        if (!row->filling && !begin_unit(row, err))
            return false;
        struct tt_unit *unit = row->filling;
        const size_t wanted = unit->run_in + whole_length(row) + row->link->ahead_samples;
        const size_t part = wanted - unit->count < count ? wanted - unit->count : count;
        memcpy(unit->samples + unit->count, samples, part * sizeof *samples);
        unit->count += part;
        samples += part;
        count -= part;
        if (unit->count == wanted)
            send_unit(row);
    }
    return true;
}

bool tt_unit_row_finish(struct tt_unit_row *row, struct tt_error *err)
{
    while (row->filling || row->carried_count > row->run_in) {
        if (!row->filling && !begin_unit(row, err))
            return false;
        send_unit(row);
    }
    return tt_crew_finish(row->crew, err);
}
