/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/render.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "audio/reader.h"
#include "base/file.h"
#include "base/large.h"
#include "base/units.h"
#include "pipeline/editor.h"
#include "pipeline/hear.h"
#include "pipeline/outlet.h"
#include "pipeline/quiet_spans.h"
#include "pipeline/render_chain.h"

enum { BLOCK_SAMPLES = 1 << 14 };

struct render_pass {
    const struct tt_render_request *request;
    struct tt_audio_info info;
    struct tt_voice_reader *reader;
    float *block;
    struct tt_render_chain *chain;
    struct tt_room_tone *tone;
    struct tt_quiet_spans room_spans; /* of the take; filled only where gaps are opened */
    struct tt_room_match *match;
    struct tt_editor *editor;
    bool is_straight; /* voice and whole go into their files as they are made */
    struct tt_outlet voice, whole;
};

int tt_delivery_rate_hz(const struct tt_settings *settings, int take_rate_hz)
{
    switch (settings->deliver.rate_hz) {
    case TT_RATE_44100:
        return 44100;
    case TT_RATE_48000:
        return 48000;
    case TT_RATE_96000:
        return 96000;
    case TT_RATE_KEEP:
        break;
    }
    return take_rate_hz;
}

double tt_room_tone_gain(const struct tt_settings *settings) { return tt_amplitude_from_db(-settings->gate.depth_db); }

static bool deliver_part(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct render_pass *pass = context;
    if (pass->request->whole_path && !tt_outlet_add(&pass->whole, samples, count, err))
        return false;
    return tt_editor_add(pass->editor, samples, count, err);
}

static bool finish_chain(struct render_pass *pass, struct tt_error *err)
{
    return tt_render_chain_finish(pass->chain, err) && tt_editor_finish(pass->editor, err) &&
           tt_outlet_finish(&pass->voice, err) && (!pass->request->whole_path || tt_outlet_finish(&pass->whole, err));
}

static bool run_chain(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    const int64_t start = tt_render_chain_start(pass->chain), end = tt_render_chain_end(pass->chain);
    int64_t done = start, count = 0;
    while (end > done &&
           (count = tt_voice_reader_read(pass->reader, pass->block,
                                         end - done < BLOCK_SAMPLES ? end - done : BLOCK_SAMPLES, err)) > 0) {
        if (!tt_render_chain_add(pass->chain, pass->block, (size_t)count, err))
            return false;
        done += count;
        if (request->tick &&
            !request->tick(request->tick_context, end > start ? (double)(done - start) / (double)(end - start) : 0))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
    }
    if (count < 0)
        return false;
    if (done != end ||
        (end == request->heard->facts.frame_count && tt_voice_reader_read(pass->reader, pass->block, 1, NULL) != 0))
        return tt_fail(err, TT_ERROR_INPUT, "the take has changed while it was worked on; run again");
    return finish_chain(pass, err);
}

static bool open_outlet(struct render_pass *pass, struct tt_outlet *outlet, bool is_whole, struct tt_error *err)
{
    return tt_outlet_open(outlet, pass->request, pass->reader, &pass->info,
                          (struct tt_outlet_kind){is_whole, pass->is_straight}, err);
}

/* Made tone is tuned to what the gate leaves of the room, where any is made. */
static bool open_match(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    const struct tt_heard *heard = request->heard;
    if (!tt_time_map_has_gaps(request->map))
        return true;
    /* Of a part nothing is known outside it. out_start: the spans stay in the take's samples. */
    struct tt_stretch all = {
        .source_start = heard->from_sample, .source_end = tt_heard_end(heard), .out_start = heard->from_sample};
    struct tt_time_map whole = {.rate_hz = heard->facts.rate_hz, .stretches = &all, .count = 1};
    if (!tt_quiet_spans_find(heard, &whole, heard->facts.rate_hz, true, &pass->room_spans, err))
        return false;
    pass->match = tt_room_match_create(&heard->floor, tt_room_tone_gain(request->settings), pass->room_spans.spans,
                                       pass->room_spans.count, err);
    return pass->match != NULL;
}

static bool open_pass(struct render_pass *pass, struct tt_error *err)
{
    const struct tt_render_request *request = pass->request;
    const struct tt_heard *heard = request->heard;
    const struct tt_recording recording =
        tt_recording_as_heard(&heard->facts, request->path, request->more_paths, request->more_count);
    pass->reader = tt_recording_open(&recording, &pass->info, err);
    if (!pass->reader || !(pass->chain = tt_render_chain_open(request, BLOCK_SAMPLES, deliver_part, pass, err)))
        return false;
    const int64_t start_sample = tt_render_chain_start(pass->chain);
    if (start_sample > 0 && !tt_voice_reader_skip(pass->reader, start_sample, err))
        return false;
    if (!(pass->block = tt_alloc_lines(BLOCK_SAMPLES * sizeof(float))))
        return tt_fail_memory(err);
    /* The seed is the recording itself: the same take always gets the same room tone. */
    char seed_digits[17];
    snprintf(seed_digits, sizeof seed_digits, "%.16s", heard->facts.content_sha256);
    uint64_t seed = strtoull(seed_digits, NULL, 16);
    pass->tone = tt_room_tone_create(&heard->floor, tt_room_tone_gain(request->settings), seed, err);
    if (!pass->tone || !open_outlet(pass, &pass->voice, false, err) ||
        (request->whole_path && !open_outlet(pass, &pass->whole, true, err)))
        return false;
    if (!open_match(pass, err))
        return false;
    pass->editor = tt_editor_create(request->map, pass->tone, pass->match, tt_outlet_add, &pass->voice, err);
    if (!pass->editor)
        return false;
    tt_editor_start_at(pass->editor, start_sample);
    return true;
}

static void close_pass(struct render_pass *pass)
{
    tt_render_chain_close(pass->chain);
    tt_editor_destroy(pass->editor);
    tt_room_tone_destroy(pass->tone);
    tt_room_match_destroy(pass->match);
    free(pass->room_spans.spans);
    tt_outlet_close(&pass->voice);
    tt_outlet_close(&pass->whole);
    tt_voice_reader_close(pass->reader);
    free(pass->block);
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

static bool render(const struct tt_render_request *request, bool is_straight, struct tt_rendered *rendered,
                   bool *is_missed, struct tt_error *err)
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
    return render(request, tt_outlet_may_be_straight(request), rendered, &is_missed, err) &&
           (!is_missed || render(request, false, rendered, &is_missed, err));
}
