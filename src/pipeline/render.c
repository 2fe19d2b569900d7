/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/render.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audio/reader.h"
#include "base/file.h"
#include "base/relay.h"
#include "base/units.h"
#include "dsp/gate.h"
#include "dsp/highpass.h"
#include "pipeline/chain.h"
#include "pipeline/editor.h"
#include "pipeline/outlet.h"
#include "stages/loudness.h"
#include "pipeline/quiet_spans.h"

enum { BLOCK_SAMPLES = 1 << 14, LINK_COUNT = TT_STAGE_COUNT + 1 };

struct render_pass {
    const struct tt_render_request *request;
    struct tt_audio_info info;
    struct tt_voice_reader *reader;
    struct tt_link links[LINK_COUNT];
    size_t link_count;
    float *block, *first_output, *buffers[2];
    struct tt_relay *relay;           /* from the first link to the others */
    struct tt_relay *edited;          /* from the last link to the editor and what comes behind it */
    struct tt_span_samples *wanted;   /* NULL: all of the take */
    struct tt_room_tone *tone;
    struct tt_quiet_spans room_spans; /* of the take; filled only where gaps are opened */
    struct tt_room_match *match;
    struct tt_editor *editor;
    bool is_straight;                 /* voice and whole go into their files as they are made */
    struct tt_outlet voice, whole;
    int64_t start_sample;             /* of the take, where rendering begins */
};

/* Filters and gate have forgotten by then what was before: the slowest, the hum's, averages over a second. */
static const double settle_s = 30;
static const double widest_grid_s = 320; /* 219 s at 48 kHz, 309 s at 44.1 kHz, with a high-pass at 70 Hz; where blocks meet more seldom the gate's alone count (-110 dB apart) */

int tt_delivery_rate_hz(const struct tt_settings *settings, int take_rate_hz)
{
    switch (settings->deliver.rate_hz) {
    case TT_RATE_44100: return 44100;
    case TT_RATE_48000: return 48000;
    case TT_RATE_96000: return 96000;
    case TT_RATE_KEEP: break;
    }
    return take_rate_hz;
}

double tt_room_tone_gain(const struct tt_settings *settings)
{
    return tt_amplitude_from_db(-settings->gate.depth_db);
}

/* ---- the chain ---- */

static size_t highpass_run(void *state, const float *samples, size_t count, float *output) { return tt_highpass_run(state, samples, count, output); }
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

/* A part of a long recording need not cost what all of it does. Where gate and filter both begin a block, what has settled comes out with the same bits
 * as from the take's start on. */
static int64_t find_start(const struct tt_render_request *request, const struct tt_highpass *highpass)
{
    const struct tt_heard *heard = request->heard;
    const int rate_hz = heard->facts.rate_hz;
    if (request->whole_path || !heard->narrowed || request->map->count == 0)
        return 0;
    const int64_t first = request->map->stretches[0].source_start, from = first < heard->from_sample ? first : heard->from_sample;
    const int64_t latest = from - tt_frames_from_ms(1000 * settle_s, rate_hz), gate = (int64_t)TT_GATE_GRID_HOPS * heard->floor.shape.hop_samples;
    const int64_t both = highpass ? common_multiple(gate, (int64_t)tt_highpass_block(highpass)) : gate;
    const int64_t grid = both <= tt_frames_from_ms(1000 * widest_grid_s, rate_hz) ? both : gate;
    return latest <= 0 || grid <= 0 ? 0 : latest / grid * grid;
}

static bool has_gaps(const struct tt_time_map *map)
{
    bool has = false;
    for (size_t i = 0; i < map->count; i++)
        has = has || map->stretches[i].fill_samples > 0;
    return has;
}

/* The stretches that stay, with their fades. All is needed for a file at full length, and where made tone is tuned to the room. */
static bool find_wanted(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_time_map *map = pass->request->map;
    if (pass->request->whole_path || has_gaps(map))
        return true;
    if (!(pass->wanted = malloc(map->count * sizeof *pass->wanted)))
        return tt_fail_memory(err);
    int64_t fade_before = map->lead_fade_samples;
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        pass->wanted[i] = (struct tt_span_samples){stretch->source_start - fade_before, stretch->source_end + stretch->fade_samples};
        fade_before = stretch->fade_samples;
    }
    return true;
}

static bool open_links(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    struct tt_highpass *filter = NULL;
    if (request->settings->take.highpass_hz > 0) {
        filter = tt_highpass_create(request->heard->facts.rate_hz, request->settings->take.highpass_hz, err);
        if (!filter)
            return false;
        pass->links[pass->link_count++] = (struct tt_link){filter, highpass_run, highpass_finish, tt_highpass_latency(filter), highpass_destroy};
    }
    pass->start_sample = find_start(request, filter);
    if (!find_wanted(pass, err))
        return false;
    struct tt_rendering rendering = {.heard = request->heard,
                                     .sheet = request->sheet,
                                     .settings = request->settings,
                                     .start_sample = pass->start_sample,
                                     .wanted = pass->wanted,
                                     .wanted_count = pass->wanted ? request->map->count : 0};
    for (int i = 0; i < TT_STAGE_COUNT; i++) {
        if (!tt_chain[i]->render_open)
            continue;
        struct tt_link link = {0};
        if (!tt_chain[i]->render_open(&rendering, &link, err))
            return false;
        if (link.run)
            pass->links[pass->link_count++] = link;
    }
    return true;
}

static bool deliver_part(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct render_pass *pass = context;
    if (pass->request->whole_path && !tt_outlet_add(&pass->whole, samples, count, err))
        return false;
    return tt_editor_add(pass->editor, samples, count, err);
}

/* Sends samples through links from first on. */
static bool push(struct render_pass *pass, size_t first, const float *samples, size_t count, struct tt_error *err)
{
    int side = first % 2;
    for (size_t i = first; i < pass->link_count; i++) {
        count = pass->links[i].run(pass->links[i].state, samples, count, pass->buffers[side]);
        samples = pass->buffers[side];
        side ^= 1;
    }
    return tt_relay_add(pass->edited, samples, count, err);
}

/* The first link (the rumble filter, where there is one) works beside the reader, the others in a second thread, the editor in a third: two processors are
 * kept at work by that. */
static bool push_behind_first(void *context, const float *samples, size_t count, struct tt_error *err)
{
    return push(context, 1, samples, count, err);
}

static bool push_first(struct render_pass *pass, const float *samples, size_t count, struct tt_error *err)
{
    if (pass->link_count > 0) {
        count = pass->links[0].run(pass->links[0].state, samples, count, pass->first_output);
        samples = pass->first_output;
    }
    return tt_relay_add(pass->relay, samples, count, err);
}

/* What the links still hold comes out, the first link's first. */
static bool finish_chain(struct render_pass *pass, struct tt_error *err)
{
    for (size_t i = 0; i < pass->link_count; i++) {
        float *rest = i == 0 ? pass->first_output : pass->buffers[(i + 1) % 2 ? 0 : 1];
        size_t left = pass->links[i].finish ? pass->links[i].finish(pass->links[i].state, rest) : 0;
        if (left > 0 && !(i == 0 ? tt_relay_add(pass->relay, rest, left, err) : push(pass, i + 1, rest, left, err)))
            return false;
        if (i == 0 && !tt_relay_finish(pass->relay, err))
            return false;
    }
    return tt_relay_finish(pass->relay, err) && tt_relay_finish(pass->edited, err) && tt_editor_finish(pass->editor, err) && tt_outlet_finish(&pass->voice, err) &&
           (!pass->request->whole_path || tt_outlet_finish(&pass->whole, err));
}

static bool run_chain(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    /* Behind the part that is used only what the chain still looks ahead to. */
    const int64_t whole = request->heard->facts.frame_count, used = tt_heard_end(request->heard) + request->heard->facts.rate_hz;
    const int64_t total = request->whole_path || used > whole ? whole : used;
    int64_t done = pass->start_sample, count = 0;
    while (total > done && (count = tt_voice_reader_read(pass->reader, pass->block, total - done < BLOCK_SAMPLES ? total - done : BLOCK_SAMPLES, err)) > 0) {
        if (!push_first(pass, pass->block, (size_t)count, err))
            return false;
        done += count;
        if (request->tick && !request->tick(request->tick_context, total > pass->start_sample ? (double)(done - pass->start_sample) / (double)(total - pass->start_sample) : 0))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
    }
    if (count < 0)
        return false;
    if (done != total || (total == whole && tt_voice_reader_read(pass->reader, pass->block, 1, NULL) != 0))
        return tt_fail(err, TT_ERROR_INPUT, "the take has changed while it was worked on; run again");
    return finish_chain(pass, err);
}

static bool open_outlet(struct render_pass *pass, struct tt_outlet *outlet, bool is_whole, struct tt_error *err)
{
    return tt_outlet_open(outlet, pass->request, pass->reader, &pass->info, (struct tt_outlet_kind){is_whole, pass->is_straight}, err);
}

/* Made tone is tuned to what the gate leaves of the room, where any is made. */
static bool open_match(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    const struct tt_heard *heard = request->heard;
    if (!has_gaps(request->map))
        return true;
    /* Of a part nothing is known outside it. out_start: the spans stay in the take's samples. */
    struct tt_stretch all = {.source_start = heard->from_sample, .source_end = tt_heard_end(heard), .out_start = heard->from_sample};
    struct tt_time_map whole = {.rate_hz = heard->facts.rate_hz, .stretches = &all, .count = 1};
    if (!tt_quiet_spans_find(heard, &whole, heard->facts.rate_hz, true, &pass->room_spans, err))
        return false;
    pass->match = tt_room_match_create(&heard->floor, tt_room_tone_gain(request->settings), pass->room_spans.spans, pass->room_spans.count, err);
    return pass->match != NULL;
}

static bool open_pass(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    const struct tt_heard *heard = request->heard;
    struct tt_recording recording = {.path = request->path,
                                     .more_paths = request->more_paths,
                                     .more_count = request->more_count,
                                     .channel = heard->facts.channel,
                                     .safety_number = heard->facts.safety_number,
                                     .safety_gain = heard->facts.safety_gain};
    pass->reader = tt_recording_open(&recording, &pass->info, err);
    if (!pass->reader || !open_links(pass, err))
        return false;
    if (pass->start_sample > 0 && !tt_voice_reader_skip(pass->reader, pass->start_sample, err))
        return false;
    size_t room = BLOCK_SAMPLES;
    for (size_t i = 0; i < pass->link_count; i++)
        room += pass->links[i].latency_samples;
    pass->block = malloc(BLOCK_SAMPLES * sizeof(float));
    pass->first_output = malloc(room * sizeof(float));
    for (int i = 0; i < 2; i++)
        pass->buffers[i] = malloc(room * sizeof(float));
    if (!pass->block || !pass->first_output || !pass->buffers[0] || !pass->buffers[1])
        return tt_fail_memory(err);
    /* The seed is the recording itself: the same take always gets the same room tone. */
    char seed_digits[17];
    snprintf(seed_digits, sizeof seed_digits, "%.16s", heard->facts.content_sha256);
    uint64_t seed = strtoull(seed_digits, NULL, 16);
    pass->tone = tt_room_tone_create(&heard->floor, tt_room_tone_gain(request->settings), seed, err);
    if (!pass->tone || !open_outlet(pass, &pass->voice, false, err) || (request->whole_path && !open_outlet(pass, &pass->whole, true, err)))
        return false;
    if (!open_match(pass, err))
        return false;
    pass->editor = tt_editor_create(request->map, pass->tone, pass->match, tt_outlet_add, &pass->voice, err);
    if (!pass->editor)
        return false;
    tt_editor_start_at(pass->editor, pass->start_sample);
    return (pass->edited = tt_relay_open(deliver_part, pass, room, request->has_second_thread, err)) != NULL &&
           (pass->relay = tt_relay_open(push_behind_first, pass, room, request->has_second_thread, err)) != NULL;
}

static void close_pass(struct render_pass *pass)
{
    tt_relay_close(pass->relay);
    tt_relay_close(pass->edited); /* in this order: one's thread hands on to the other's */
    tt_editor_destroy(pass->editor);
    tt_room_tone_destroy(pass->tone);
    tt_room_match_destroy(pass->match);
    free(pass->room_spans.spans);
    free(pass->wanted);
    tt_outlet_close(&pass->voice);
    tt_outlet_close(&pass->whole);
    for (size_t i = 0; i < pass->link_count; i++)
        tt_link_destroy(&pass->links[i]);
    tt_voice_reader_close(pass->reader);
    free(pass->block);
    free(pass->first_output);
    free(pass->buffers[0]);
    free(pass->buffers[1]);
}

static double speech_after_dbfs(const struct tt_heard *heard, const struct tt_time_map *map, double gain_db)
{
    double power = 0, length = 0;
    for (size_t i = 0; i < heard->run_count; i++) {
        const struct tt_run *run = &heard->runs[i];
        if (tt_time_map_to_out(map, (run->start_sample + run->end_sample) / 2) < 0)
            continue;
        double samples = (double)(run->end_sample - run->start_sample);
        power += samples * tt_power_from_db(run->level_db);
        length += samples;
    }
    return length > 0 ? tt_db_from_power(power / length) + gain_db : NAN;
}

/* *is_missed: the voice went straight into its file, with a gain that its peaks do not allow. */
static bool deliver(struct render_pass *pass, struct tt_rendered *rendered, bool *is_missed, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    if (!isnan(request->gain_db))
        rendered->gain_db = tt_outlet_allowed_gain_db(&pass->voice, &rendered->is_held_back);
    if ((*is_missed = pass->is_straight && rendered->is_held_back))
        return true;
    struct tt_delivered delivered;
    if (!tt_outlet_deliver(&pass->voice, &rendered->gain_db, &rendered->is_held_back, &delivered, err))
        return false;
    rendered->levels = delivered.levels;
    rendered->limited_db = delivered.limited_db;
    rendered->floor_dbfs = delivered.floor_dbfs;
    rendered->floor_dba = delivered.floor_dba;
    rendered->speech_dbfs = speech_after_dbfs(request->heard, request->map, rendered->gain_db);
    rendered->out_frames = pass->voice.out_frames;
    return !request->whole_path || tt_outlet_deliver(&pass->whole, &rendered->gain_db, NULL, &delivered, err);
}

static bool render(const struct tt_render_request *request, bool is_straight, struct tt_rendered *rendered, bool *is_missed, struct tt_error *err)
{
    struct render_pass *pass = calloc(1, sizeof *pass);
    if (!pass)
        return tt_fail_memory(err);
    pass->request = request;
    pass->is_straight = is_straight;
    *rendered = (struct tt_rendered){.floor_dbfs = NAN, .floor_dba = NAN, .speech_dbfs = NAN};
    bool ok = open_pass(pass, err) && run_chain(pass, err) && deliver(pass, rendered, is_missed, err);
    close_pass(pass);
    free(pass);
    return ok;
}

bool tt_render(const struct tt_render_request *request, struct tt_rendered *rendered, struct tt_error *err)
{
    bool is_missed = false;
    return render(request, tt_outlet_may_be_straight(request), rendered, &is_missed, err) && (!is_missed || render(request, false, rendered, &is_missed, err));
}
