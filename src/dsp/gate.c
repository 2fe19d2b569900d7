/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/gate.h"

#include <stdlib.h>
#include <string.h>

#include "base/large.h"
#include "dsp/gate_gain.h"

enum {
    LEAD_HOPS = 3,   /* zeros in front of the take, so that its first hop, too, lies under four windows */
    SPARE_HOPS = 32, /* by which fifo and overlap are longer than a window, so that they seldom move */
    FLOOR_EVERY = 16 /* frames; the floor is looked up every 85 ms */
};
_Static_assert(TT_GATE_GRID_HOPS % FLOOR_EVERY == 0 && TT_GATE_GRID_HOPS % TT_GATE_BLOCK == 0, "the grid holds both");

struct tt_gate {
    const struct tt_floor_track *track;
    struct tt_stft_shape shape;
    struct tt_stft *stft;
    struct tt_gate_gain *decision;
    float *fifo;                             /* the next frame's window of samples begins at fifo_at */
    int room, fifo_at, fifo_end, overlap_at; /* room: of fifo and of overlap */
    float *spectra;                          /* TT_GATE_ROWS frames */
    float *rows[TT_GATE_ROWS];               /* where each is */
    int row_count;
    float *floor, *overlap;
    int64_t frame;                        /* frames analysed; frame f is centred on sample (f - 1) * hop */
    const struct tt_span_samples *wanted; /* NULL: everything */
    size_t wanted_count, wanted_at;
    int drop_hops; /* finished hops that lie in front of the take */
    int64_t owed;  /* outputs still to come for the input seen */
};

static bool allocate(struct tt_gate *gate)
{
    const size_t spectrum_floats = 2 * (size_t)tt_gate_gain_row(gate->shape);
    gate->fifo = tt_alloc_lines((size_t)gate->room * sizeof *gate->fifo);
    gate->spectra = tt_alloc_lines(TT_GATE_ROWS * spectrum_floats * sizeof *gate->spectra);
    gate->floor = malloc((size_t)gate->shape.bin_count * sizeof *gate->floor);
    gate->overlap = tt_alloc_lines((size_t)gate->room * sizeof *gate->overlap);
    if (!gate->fifo || !gate->spectra || !gate->floor || !gate->overlap)
        return false;
    for (size_t r = 0; r < TT_GATE_ROWS; r++)
        gate->rows[r] = gate->spectra + r * spectrum_floats;
    return true;
}

struct tt_gate *tt_gate_create(const struct tt_floor_track *track, struct tt_gate_settings settings,
                               struct tt_error *err)
{
    struct tt_gate *gate = calloc(1, sizeof *gate);
    if (!gate) {
        tt_fail_memory(err);
        return NULL;
    }
    gate->track = track;
    gate->shape = track->shape;
    gate->room = gate->shape.window_samples + SPARE_HOPS * gate->shape.hop_samples;
    gate->stft = tt_stft_create(track->shape, err);
    gate->decision = tt_gate_gain_create(track->shape, settings, err);
    if (!gate->stft || !gate->decision || !allocate(gate)) {
        tt_fail_memory(err);
        tt_gate_destroy(gate);
        return NULL;
    }
    tt_gate_start_at(gate, 0);
    return gate;
}

void tt_gate_destroy(struct tt_gate *gate)
{
    if (!gate)
        return;
    tt_stft_destroy(gate->stft);
    tt_gate_gain_destroy(gate->decision);
    free(gate->fifo);
    free(gate->spectra);
    free(gate->floor);
    free(gate->overlap);
    free(gate);
}

void tt_gate_start_at(struct tt_gate *gate, int64_t sample)
{
    tt_gate_gain_restart(gate->decision);
    memset(gate->fifo, 0, (size_t)gate->room * sizeof *gate->fifo);
    memset(gate->overlap, 0, (size_t)gate->room * sizeof *gate->overlap);
    gate->fifo_at = gate->overlap_at = gate->row_count = 0;
    gate->fifo_end = LEAD_HOPS * gate->shape.hop_samples;
    gate->drop_hops = LEAD_HOPS;
    gate->owed = 0;
    gate->wanted_at = 0;
    gate->frame = sample / gate->shape.hop_samples;
}

void tt_gate_want(struct tt_gate *gate, const struct tt_span_samples *spans, size_t count)
{
    gate->wanted = spans;
    gate->wanted_count = count;
}

/* Asked of frames in order. */
static bool is_wanted(struct tt_gate *gate, int64_t frame)
{
    const int64_t start = (frame - LEAD_HOPS) * gate->shape.hop_samples, end = start + gate->shape.window_samples;
    if (!gate->wanted)
        return true;
    while (gate->wanted_at < gate->wanted_count && gate->wanted[gate->wanted_at].end <= start)
        gate->wanted_at++;
    return gate->wanted_at < gate->wanted_count && gate->wanted[gate->wanted_at].start < end;
}

size_t tt_gate_latency(const struct tt_gate *gate)
{
    return (size_t)(LEAD_HOPS + TT_GATE_ROWS + 2) * (size_t)gate->shape.hop_samples;
}

/* Adds the window in the fifo as the newest frame; true when a block of frames can be finished. */
static bool analyse(struct tt_gate *gate)
{
    const int hop = gate->shape.hop_samples;
    float *spectrum = gate->rows[gate->row_count++];
    tt_stft_forward(gate->stft, gate->fifo + gate->fifo_at, spectrum, spectrum + tt_gate_gain_row(gate->shape));
    if (gate->frame % FLOOR_EVERY == 0) {
        tt_floor_at(gate->track, (gate->frame - 1 + FLOOR_EVERY / 2) * hop, gate->floor);
        tt_gate_gain_set_floor(gate->decision, gate->floor);
    }
    gate->frame++;
    gate->fifo_at += hop;
    return tt_gate_gain_add(gate->decision, spectrum);
}

/* Adds a frame to the overlap, which finishes one hop of output. NULL: one that nobody wants. */
static size_t synthesise(struct tt_gate *gate, const float *spectrum, float *output)
{
    const size_t hop = (size_t)gate->shape.hop_samples, window = (size_t)gate->shape.window_samples;
    if ((size_t)gate->overlap_at + window > (size_t)gate->room) {
        memmove(gate->overlap, gate->overlap + gate->overlap_at, (window - hop) * sizeof *gate->overlap);
        memset(gate->overlap + window - hop, 0, ((size_t)gate->room - window + hop) * sizeof *gate->overlap);
        gate->overlap_at = 0;
    }
    const float *done = gate->overlap + gate->overlap_at;
    if (spectrum)
        tt_stft_inverse(gate->stft, spectrum, spectrum + tt_gate_gain_row(gate->shape),
                        gate->overlap + gate->overlap_at);
    gate->overlap_at += (int)hop;
    if (gate->drop_hops > 0) {
        gate->drop_hops--;
        return 0;
    }
    const size_t count = gate->owed < (int64_t)hop ? (size_t)gate->owed : hop;
    memcpy(output, done, count * sizeof *output);
    gate->owed -= (int64_t)count;
    return count;
}

static size_t do_frame(struct tt_gate *gate, float *output)
{
    float *done[TT_GATE_BLOCK], *wanted[TT_GATE_BLOCK];
    size_t written = 0;
    if (!analyse(gate))
        return 0;
    memcpy(done, gate->rows, sizeof done);
    for (int r = 0; r < TT_GATE_BLOCK; r++)
        wanted[r] = is_wanted(gate, gate->frame - TT_GATE_ROWS + r) ? done[r] : NULL;
    tt_gate_gain_run(gate->decision, wanted);
    for (int r = 0; r < TT_GATE_BLOCK; r++)
        written += synthesise(gate, wanted[r], output + written);
    /* The rows behind the block come first now; those of the block are free. */
    memmove(gate->rows, gate->rows + TT_GATE_BLOCK, TT_GATE_AHEAD * sizeof *gate->rows);
    memcpy(gate->rows + TT_GATE_AHEAD, done, sizeof done);
    gate->row_count = TT_GATE_AHEAD;
    return written;
}

static bool has_frame(const struct tt_gate *gate)
{
    return gate->fifo_end - gate->fifo_at >= gate->shape.window_samples;
}

static void make_room(struct tt_gate *gate)
{
    gate->fifo_end -= gate->fifo_at;
    memmove(gate->fifo, gate->fifo + gate->fifo_at, (size_t)gate->fifo_end * sizeof *gate->fifo);
    gate->fifo_at = 0;
}

size_t tt_gate_run(struct tt_gate *gate, const float *samples, size_t count, float *output)
{
    size_t written = 0;
    while (count > 0) {
        if (gate->fifo_end == gate->room)
            make_room(gate);
        const size_t room = (size_t)(gate->room - gate->fifo_end);
        const size_t taken = count < room ? count : room;
        memcpy(gate->fifo + gate->fifo_end, samples, taken * sizeof *samples);
        gate->fifo_end += (int)taken;
        gate->owed += (int64_t)taken;
        samples += taken;
        count -= taken;
        while (has_frame(gate))
            written += do_frame(gate, output + written);
    }
    return written;
}

size_t tt_gate_finish(struct tt_gate *gate, float *output)
{
    size_t written = 0;
    while (gate->owed > 0) {
        make_room(gate);
        memset(gate->fifo + gate->fifo_end, 0,
               (size_t)(gate->shape.window_samples - gate->fifo_end) * sizeof *gate->fifo);
        gate->fifo_end = gate->shape.window_samples;
        written += do_frame(gate, output + written);
    }
    return written;
}
