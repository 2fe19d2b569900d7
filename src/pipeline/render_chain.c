/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/render_chain.h"

#include <stdlib.h>

#include "base/crew.h"
#include "base/units.h"
#include "dsp/gate.h"
#include "dsp/highpass.h"
#include "pipeline/chain.h"
#include "pipeline/link_row.h"
#include "pipeline/unit_row.h"

/* More threads than that wait for the reader and the rumble filter. */
enum { MOST_THREADS = 4 };

struct tt_render_chain {
    const struct tt_render_request *request;
    struct tt_link_row front,
        back; /* before the link that works in units, and behind it; all in front where there is none */
    struct tt_unit_link unit_link;
    struct tt_unit_row *units;      /* NULL: none */
    struct tt_span_samples *wanted; /* NULL: all of the take */
    int64_t start_sample, end_sample;
};

/* Filters and gate have forgotten by then what was before: the slowest, the hum's, remembers 20 s. */
static const double settle_s = 30;
static const double widest_grid_s = 320; /* 219 s at 48 kHz, 309 s at 44.1 kHz, with a high-pass at 70 Hz; where blocks
                                            meet more seldom the gate's alone count (-110 dB apart) */

static size_t highpass_run(void *state, const float *samples, size_t count, float *output)
{
    return tt_highpass_run(state, samples, count, output);
}
static size_t highpass_finish(void *state, float *output) { return tt_highpass_finish(state, output); }
static void highpass_destroy(void *state) { tt_highpass_destroy(state); }

static int64_t common_multiple(int64_t a, int64_t b)
{
    int64_t x = a, y = b;
    while (y != 0) {
        const int64_t rest = x % y;
        x = y;
        y = rest;
    }
    return x > 0 ? a / x * b : 0;
}

/* A part of a long recording need not cost what all of it does. Where gate and filter both begin a block, what has
 * settled comes out with the same bits as from the take's start on. */
static int64_t find_start(const struct tt_render_request *request, const struct tt_highpass *highpass)
{
    const struct tt_heard *heard = request->heard;
    const int rate_hz = heard->facts.rate_hz;
    if (request->whole_path || !heard->narrowed || request->map->count == 0)
        return 0;
    const int64_t first = request->map->stretches[0].source_start,
                  from = first < heard->from_sample ? first : heard->from_sample;
    const int64_t latest = from - tt_frames_from_ms(1000 * settle_s, rate_hz),
                  gate = (int64_t)TT_GATE_GRID_HOPS * heard->floor.shape.hop_samples;
    const int64_t both = highpass ? common_multiple(gate, (int64_t)tt_highpass_block(highpass)) : gate;
    const int64_t grid = both <= tt_frames_from_ms(1000 * widest_grid_s, rate_hz) ? both : gate;
    return latest <= 0 || grid <= 0 ? 0 : latest / grid * grid;
}

/* Behind the part that is used only what the chain still looks ahead to. */
static int64_t find_end(const struct tt_render_request *request)
{
    const int64_t whole = request->heard->facts.frame_count,
                  used = tt_heard_end(request->heard) + request->heard->facts.rate_hz;
    return request->whole_path || used > whole ? whole : used;
}

/* The stretches that stay, with their fades. All is needed for a file at full length, and where made tone is tuned to
 * the room. */
static bool find_wanted(struct tt_render_chain *chain, struct tt_error *err)
{
    const struct tt_time_map *map = chain->request->map;
    if (chain->request->whole_path || tt_time_map_has_gaps(map))
        return true;
    if (!(chain->wanted = malloc(map->count * sizeof *chain->wanted)))
        return tt_fail_memory(err);
    int64_t fade_before = map->lead_fade_samples;
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        chain->wanted[i] =
            (struct tt_span_samples){stretch->source_start - fade_before, stretch->source_end + stretch->fade_samples};
        fade_before = stretch->fade_samples;
    }
    return true;
}

static void append(struct tt_link_row *row, struct tt_link link)
{
    if (link.run)
        row->links[row->count++] = link;
}

static bool open_links(struct tt_render_chain *chain, size_t threads, struct tt_error *err)
{
    const struct tt_render_request *request = chain->request;
    struct tt_highpass *filter = NULL;
    if (request->settings->take.highpass_hz > 0) {
        filter = tt_highpass_create(request->heard->facts.rate_hz, request->settings->take.highpass_hz, err);
        if (!filter)
            return false;
        append(&chain->front,
               (struct tt_link){filter, highpass_run, highpass_finish, tt_highpass_latency(filter), highpass_destroy});
    }
    chain->start_sample = find_start(request, filter);
    if (!find_wanted(chain, err))
        return false;
    const struct tt_rendering rendering = {.heard = request->heard,
                                           .sheet = request->sheet,
                                           .settings = request->settings,
                                           .start_sample = chain->start_sample,
                                           .wanted = chain->wanted,
                                           .wanted_count = chain->wanted ? request->map->count : 0,
                                           .threads = threads};
    for (int i = 0; i < TT_STAGE_COUNT; i++) {
        struct tt_link link = {0};
        if (tt_chain[i]->render_open && !tt_chain[i]->render_open(&rendering, &link, err))
            return false;
        append(chain->unit_link.run ? &chain->back : &chain->front, link);
        if (tt_chain[i]->render_units && !tt_chain[i]->render_units(&rendering, &chain->unit_link, err))
            return false;
    }
    return true;
}

static bool open_rows(struct tt_render_chain *chain, size_t most_samples, size_t threads, tt_sink sink, void *context,
                      struct tt_error *err)
{
    struct tt_link_row *last = &chain->front;
    if (chain->unit_link.run) {
        last = &chain->back;
        chain->units = tt_unit_row_open(&chain->unit_link, chain->start_sample, chain->end_sample - chain->start_sample,
                                        threads, tt_link_row_add, last, err);
        if (!chain->units)
            return false;
        chain->front.sink = tt_unit_row_add;
        chain->front.context = chain->units;
    }
    last->sink = sink;
    last->context = context;
    return tt_link_row_open(&chain->front, most_samples, err) && tt_link_row_open(&chain->back, most_samples, err);
}

struct tt_render_chain *tt_render_chain_open(const struct tt_render_request *request, size_t most_samples, tt_sink sink,
                                             void *context, struct tt_error *err)
{
    struct tt_render_chain *chain = calloc(1, sizeof *chain);
    if (!chain) {
        tt_fail_memory(err);
        return NULL;
    }
    chain->request = request;
    chain->end_sample = find_end(request);
    const size_t threads = tt_crew_size(request->threads < 1 ? 1 : (size_t)request->threads, MOST_THREADS);
    if (!open_links(chain, threads, err) || !open_rows(chain, most_samples, threads, sink, context, err)) {
        tt_render_chain_close(chain);
        return NULL;
    }
    return chain;
}

int64_t tt_render_chain_start(const struct tt_render_chain *chain) { return chain->start_sample; }
int64_t tt_render_chain_end(const struct tt_render_chain *chain) { return chain->end_sample; }

bool tt_render_chain_add(struct tt_render_chain *chain, const float *samples, size_t count, struct tt_error *err)
{
    return tt_link_row_add(&chain->front, samples, count, err);
}

bool tt_render_chain_finish(struct tt_render_chain *chain, struct tt_error *err)
{
    return tt_link_row_finish(&chain->front, err) &&
           (!chain->units || (tt_unit_row_finish(chain->units, err) && tt_link_row_finish(&chain->back, err)));
}

void tt_render_chain_close(struct tt_render_chain *chain)
{
    if (!chain)
        return;
    tt_unit_row_close(chain->units); /* its threads work with what is freed below */
    if (chain->unit_link.destroy)
        chain->unit_link.destroy(chain->unit_link.state);
    tt_link_row_close(&chain->front);
    tt_link_row_close(&chain->back);
    free(chain->wanted);
    free(chain);
}
