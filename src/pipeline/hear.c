/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/hear.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/large.h"
#include "base/relay.h"
#include "base/units.h"
#include "dsp/highpass.h"
#include "dsp/listener.h"
#include "dsp/meter.h"
#include "dsp/nuclei.h"
#include "pipeline/chain.h"
#include "pipeline/colour.h"
#include "pipeline/framer.h"
#include "pipeline/picture.h"
#include "pipeline/remarks.h"
#include "pipeline/room_recording.h"
#include "pipeline/spectrum_ring.h"

enum { BLOCK_SAMPLES = 1 << 14, BATCH_FRAMES = 32 };

struct hear_pass {
    const struct tt_hear_request *request;
    struct tt_hearing hearing;
    struct tt_heard heard;
    struct tt_voice_reader *reader;
    struct tt_highpass *highpass; /* NULL with highpass_hz = 0 */
    struct tt_relay *relay;       /* to the framer and what looks at frames at once */
    struct tt_relay *frames;      /* from there to the listener and what waits for it; NULL: in the same thread */
    float *batch;                 /* frames on their way to it: power and samples of each */
    int batch_count;
    struct tt_framer *framer;
    struct tt_listener *listener;
    struct tt_nuclei *nuclei;
    struct tt_meter *meter; /* of the channel as recorded */
    struct tt_remarks remarks;
    struct tt_picture *picture; /* NULL: not wanted */
    struct tt_heard_writer *writer;
    void *stage_states[TT_STAGE_COUNT];
    struct tt_spectrum_ring ring;
    float *settled_power;
    struct tt_colour colour;
    int64_t listened; /* frames that the listener got */
    int64_t settled;  /* frames handed to the stages as settled */
    float *block, *filtered;
    struct tt_span_frames *others;
};

static bool hand_out_settled(struct hear_pass *pass, struct tt_error *err)
{
    int64_t until = tt_listener_settled(pass->listener);
    for (; pass->settled < until; pass->settled++) {
        struct tt_hear_frame frame = {.index = pass->settled,
                                      .sample = pass->settled * pass->hearing.shape.hop_samples,
                                      .power = pass->settled_power,
                                      .state = tt_listener_state(pass->listener, pass->settled)};
        tt_spectrum_ring_get(&pass->ring, pass->settled, pass->settled_power);
        if (!tt_nuclei_add(pass->nuclei, frame.power, tt_listener_voiced(pass->listener, frame.index),
                           frame.state == TT_FRAME_SPEECH, err))
            return false;
        if (frame.state == TT_FRAME_SPEECH)
            tt_colour_add(&pass->colour, &pass->hearing.shape, frame.power);
        for (int i = 0; i < TT_STAGE_COUNT; i++)
            if (tt_chain[i]->hear_settled && !tt_chain[i]->hear_settled(pass->stage_states[i], &frame, err))
                return false;
    }
    return true;
}

static bool listen_to(struct hear_pass *pass, const float *power, const float *samples, struct tt_error *err)
{
    tt_spectrum_ring_put(&pass->ring, pass->listened++, power);
    return tt_listener_add(pass->listener, power, samples, err) && hand_out_settled(pass, err);
}

static size_t batch_row(const struct hear_pass *pass)
{
    return (size_t)(pass->hearing.shape.bin_count + pass->hearing.shape.hop_samples);
}

static bool listen_to_batch(void *context, const float *rows, size_t count, struct tt_error *err)
{
    struct hear_pass *pass = context;
    const size_t row = batch_row(pass);
    for (const float *end = rows + count; rows < end; rows += row)
        if (!listen_to(pass, rows, rows + pass->hearing.shape.bin_count, err))
            return false;
    return true;
}

static bool hand_on_batch(struct hear_pass *pass, struct tt_error *err)
{
    size_t count = (size_t)pass->batch_count * batch_row(pass);
    pass->batch_count = 0;
    return tt_relay_add(pass->frames, pass->batch, count, err);
}

static bool hand_on(struct hear_pass *pass, const float *power, const float *samples, struct tt_error *err)
{
    const size_t bins = (size_t)pass->hearing.shape.bin_count, hop = (size_t)pass->hearing.shape.hop_samples;
    float *row = pass->batch + (size_t)pass->batch_count * (bins + hop);
    memcpy(row, power, bins * sizeof *row);
    memcpy(row + bins, samples, hop * sizeof *row);
    return ++pass->batch_count < BATCH_FRAMES || hand_on_batch(pass, err);
}

static bool take_frame(void *context, int64_t index, const float *power, const float *samples, struct tt_error *err)
{
    struct hear_pass *pass = context;
    struct tt_hear_frame frame = {
        .index = index, .sample = index * pass->hearing.shape.hop_samples, .power = power, .samples = samples};
    for (int i = 0; i < TT_STAGE_COUNT; i++)
        if (tt_chain[i]->hear_frame && !tt_chain[i]->hear_frame(pass->stage_states[i], &frame, err))
            return false;
    if (pass->picture && index % TT_PICTURE_HOPS == 0 && !tt_picture_add(pass->picture, power, err))
        return false;
    return pass->frames ? hand_on(pass, power, samples, err) : listen_to(pass, power, samples, err);
}

static bool frame(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct hear_pass *pass = context;
    return tt_framer_add(pass->framer, samples, count, err);
}

static bool open_pass(struct hear_pass *pass, struct tt_error *err)
{
    const struct tt_hear_request *request = pass->request;
    struct tt_audio_info info;
    struct tt_recording recording = {.path = request->path,
                                     .more_paths = request->more_paths,
                                     .more_count = request->more_count,
                                     .channel = request->channel.channel,
                                     .safety_number = request->channel.safety_number,
                                     .safety_gain = request->channel.safety_gain,
                                     .listener_number = request->channel.listener_number};
    pass->reader = tt_recording_open(&recording, &info, err);
    if (!pass->reader)
        return false;
    tt_voice_reader_show_bytes(pass->reader, request->show_content, request->content_context);
    struct tt_heard_facts *facts = &pass->heard.facts;
    facts->rate_hz = info.rate_hz;
    facts->channel_count = info.channel_count;
    facts->channel = request->channel.channel;
    facts->safety_number = request->channel.safety_number;
    facts->listener_number = request->channel.listener_number;
    facts->safety_gain = request->channel.safety_gain;
    snprintf(facts->channel_why, sizeof facts->channel_why, "%s", request->channel.why);
    snprintf(facts->hearing_key, sizeof facts->hearing_key, "%s", request->hearing_key);

    pass->hearing.shape = tt_stft_shape_for(info.rate_hz);
    pass->hearing.settings = request->settings;
    pass->hearing.heard = &pass->heard;
    pass->block = tt_alloc_lines(BLOCK_SAMPLES * sizeof(float));
    pass->settled_power = malloc((size_t)pass->hearing.shape.bin_count * sizeof(float));
    if (!pass->block || !pass->settled_power)
        return tt_fail_memory(err);
    size_t filtered_room = BLOCK_SAMPLES;
    if (request->settings->take.highpass_hz > 0) {
        pass->highpass = tt_highpass_create(info.rate_hz, request->settings->take.highpass_hz, err);
        if (!pass->highpass)
            return false;
        filtered_room += tt_highpass_latency(pass->highpass);
    }
    pass->filtered = tt_alloc_lines(filtered_room * sizeof(float));
    if (!pass->filtered)
        return tt_fail_memory(err);
    tt_remarks_start(&pass->remarks, &info);
    if (!(pass->meter = tt_meter_create(info.rate_hz, 1.0, err)) ||
        !(pass->listener = tt_listener_create(pass->hearing.shape, err)) ||
        !(pass->nuclei = tt_nuclei_create(pass->hearing.shape, err)) ||
        !(pass->framer = tt_framer_create(pass->hearing.shape, take_frame, pass, err)) ||
        !tt_spectrum_ring_create(&pass->ring, tt_listener_delay_frames(pass->listener) + 8,
                                 pass->hearing.shape.bin_count, err) ||
        !(pass->writer = tt_heard_writer_open(request->heard_path, err)))
        return false;
    if (request->picture_prefix &&
        !(pass->picture = tt_picture_create(pass->hearing.shape, request->picture_prefix, err)))
        return false;
    pass->hearing.writer = pass->writer;
    if (!tt_room_recording_hear(request->settings, &pass->hearing, err))
        return false;
    for (int i = 0; i < TT_STAGE_COUNT; i++)
        if (tt_chain[i]->hear_open && !(pass->stage_states[i] = tt_chain[i]->hear_open(&pass->hearing, err)))
            return false;
    /* Last: their threads work with all of the above. */
    if (request->has_second_thread) {
        const size_t batch_floats = BATCH_FRAMES * batch_row(pass);
        if (!(pass->batch = malloc(batch_floats * sizeof *pass->batch)))
            return tt_fail_memory(err);
        if (!(pass->frames = tt_relay_open(listen_to_batch, pass, batch_floats, true, err)))
            return false;
    }
    return (pass->relay = tt_relay_open(frame, pass, filtered_room, request->has_second_thread, err)) != NULL;
}

static bool listen_through(struct hear_pass *pass, int64_t expected, struct tt_error *err)
{
    int64_t done = 0, count;
    while ((count = tt_voice_reader_read(pass->reader, pass->block, BLOCK_SAMPLES, err)) > 0) {
        tt_remarks_listen(&pass->remarks, pass->block, (size_t)count);
        if (!tt_meter_add(pass->meter, pass->block, (size_t)count, err))
            return false;
        const float *samples = pass->block;
        size_t ready = (size_t)count;
        if (pass->highpass) {
            ready = tt_highpass_run(pass->highpass, pass->block, (size_t)count, pass->filtered);
            samples = pass->filtered;
        }
        if (!tt_relay_add(pass->relay, samples, ready, err))
            return false;
        done += count;
        if (pass->request->tick &&
            !pass->request->tick(pass->request->tick_context, expected > 0 ? (double)done / (double)expected : 0))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
    }
    if (count < 0)
        return false;
    if (pass->highpass) {
        size_t ready = tt_highpass_finish(pass->highpass, pass->filtered);
        if (!tt_relay_add(pass->relay, pass->filtered, ready, err))
            return false;
    }
    if (!tt_relay_finish(pass->relay, err))
        return false;
    pass->heard.facts.frame_count = done;
    if (done == 0)
        return tt_fail(err, TT_ERROR_INPUT,
                       "no sound in it: the file holds not one sample; record it again, or take it out of the folder");
    return tt_framer_finish(pass->framer, err) &&
           (!pass->frames || (hand_on_batch(pass, err) && tt_relay_finish(pass->frames, err))) &&
           tt_listener_finish(pass->listener, err) && hand_out_settled(pass, err);
}

static void sum_up_speech(struct tt_heard *heard)
{
    double power = 0, length = 0;
    for (size_t i = 0; i < heard->run_count; i++) {
        double samples = (double)(heard->runs[i].end_sample - heard->runs[i].start_sample);
        power += samples * tt_power_from_db(heard->runs[i].level_db);
        length += samples;
    }
    heard->facts.speech_dbfs = length > 0 ? tt_db_from_power(power / length) : -INFINITY;
}

static bool note_content(struct hear_pass *pass, struct tt_error *err)
{
    const struct tt_hear_request *request = pass->request;
    const char *content =
        request->find_content ? request->find_content(request->content_context, err) : request->content_sha256;
    if (content)
        snprintf(pass->heard.facts.content_sha256, sizeof pass->heard.facts.content_sha256, "%s", content);
    return content != NULL;
}

static bool close_pass(struct hear_pass *pass, struct tt_error *err)
{
    struct tt_heard *heard = &pass->heard;
    if (!note_content(pass, err))
        return false;
    heard->facts.before = tt_meter_result(pass->meter);
    if (!(heard->nuclei = tt_nuclei_finish(pass->nuclei, &heard->nucleus_count)))
        return tt_fail_memory(err);
    heard->facts.decay_db_per_s = tt_nuclei_decay_db_per_s(pass->nuclei);
    if (!(pass->others = tt_voice_reader_other_voice(pass->reader, &heard->other_count, err)))
        return false;
    heard->others = pass->others;
    heard->steps = tt_meter_steps(pass->meter, &heard->step_count);
    heard->runs = tt_listener_runs(pass->listener, &heard->run_count);
    heard->sounds = tt_listener_sounds(pass->listener, &heard->sound_count);
    for (int i = 0; i < TT_STAGE_COUNT; i++)
        if (tt_chain[i]->hear_close && !tt_chain[i]->hear_close(pass->stage_states[i], &pass->hearing, err))
            return false;
    sum_up_speech(heard);
    tt_colour_sum_up(&pass->colour, &pass->hearing.shape, heard->facts.colour_db);
    pass->remarks.mended_places = tt_voice_reader_mended(pass->reader, &pass->remarks.first_mended_frame);
    size_t over_count;
    const int64_t *over_words = tt_listener_over_words(pass->listener, &over_count);
    tt_remarks_over_words(&pass->remarks, over_words, over_count);
    tt_remarks_finish(&pass->remarks, heard, tt_voice_reader_bad_samples(pass->reader));
    heard->remarks = pass->remarks.items;
    heard->remark_count = pass->remarks.count;
    if (pass->picture && !tt_picture_finish(pass->picture, err))
        return false;
    struct tt_heard_writer *writer = pass->writer;
    pass->writer = NULL;
    return tt_heard_writer_commit(writer, heard, err);
}

static void free_pass(struct hear_pass *pass)
{
    tt_relay_close(pass->relay);
    tt_relay_close(pass->frames); /* in this order: one's thread hands on to the other's */
    for (int i = 0; i < TT_STAGE_COUNT; i++)
        if (tt_chain[i]->hear_free)
            tt_chain[i]->hear_free(pass->stage_states[i]);
    tt_heard_writer_abandon(pass->writer);
    tt_framer_destroy(pass->framer);
    tt_listener_destroy(pass->listener);
    tt_nuclei_destroy(pass->nuclei);
    tt_meter_destroy(pass->meter);
    tt_highpass_destroy(pass->highpass);
    tt_picture_destroy(pass->picture);
    tt_voice_reader_close(pass->reader);
    tt_floor_track_free(&pass->heard.floor);
    tt_spectrum_ring_free(&pass->ring);
    free(pass->batch);
    free(pass->settled_power);
    free(pass->block);
    free(pass->filtered);
    free(pass->others);
}

bool tt_hear(const struct tt_hear_request *request, struct tt_error *err)
{
    struct hear_pass *pass = calloc(1, sizeof *pass);
    if (!pass)
        return tt_fail_memory(err);
    pass->request = request;
    bool ok = open_pass(pass, err) && listen_through(pass, pass->remarks.promised_frames, err) && close_pass(pass, err);
    free_pass(pass);
    free(pass);
    return ok;
}
