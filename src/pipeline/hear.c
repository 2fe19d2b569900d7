/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/hear.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/relay.h"
#include "base/units.h"
#include "dsp/band_levels.h"
#include "dsp/fast_math.h"
#include "dsp/highpass.h"
#include "dsp/listener.h"
#include "dsp/meter.h"
#include "dsp/nuclei.h"
#include "pipeline/chain.h"
#include "pipeline/framer.h"
#include "pipeline/picture.h"
#include "pipeline/remarks.h"
#include "pipeline/room_recording.h"

enum { BLOCK_SAMPLES = 1 << 14 };

/* A frame's power spectrum waits until the listener knows whether somebody speaks in it: the upper half of each float, rounded (0.02 dB). */
struct spectrum_ring {
    uint16_t *rows;
    int64_t row_count;
    int bin_count;
};

struct hear_pass {
    const struct tt_hear_request *request;
    struct tt_hearing hearing;
    struct tt_heard heard;
    struct tt_voice_reader *reader;
    struct tt_highpass *highpass;      /* NULL with highpass_hz = 0 */
    struct tt_relay *relay;            /* to the framer and all behind it */
    struct tt_framer *framer;
    struct tt_listener *listener;
    struct tt_nuclei *nuclei;
    struct tt_meter *meter;            /* of the channel as recorded */
    struct tt_remarks remarks;
    struct tt_picture *picture;        /* NULL: not wanted */
    struct tt_heard_writer *writer;
    void *stage_states[TT_STAGE_COUNT];
    struct spectrum_ring ring;
    float *settled_power;
    double colour_sums[TT_COLOUR_BANDS];
    int64_t colour_frames;
    int64_t settled;                   /* frames handed to the stages as settled */
    float *block, *filtered;
    struct tt_span_frames *others;
};

static bool ring_create(struct spectrum_ring *ring, int64_t rows, int bin_count, struct tt_error *err)
{
    ring->row_count = rows;
    ring->bin_count = bin_count;
    ring->rows = malloc((size_t)rows * (size_t)bin_count * sizeof *ring->rows);
    return ring->rows || tt_fail_memory(err);
}

TT_WIDE static void shorten(const float *power, uint16_t *row, int count)
{
    for (int k = 0; k < count; k++) {
        uint32_t bits;
        memcpy(&bits, &power[k], sizeof bits);
        row[k] = (uint16_t)((bits + 0x8000u) >> 16);
    }
}

TT_WIDE static void lengthen(const uint16_t *row, float *power, int count)
{
    for (int k = 0; k < count; k++) {
        uint32_t bits = (uint32_t)row[k] << 16;
        memcpy(&power[k], &bits, sizeof bits);
    }
}

static void ring_put(struct spectrum_ring *ring, int64_t frame, const float *power)
{
    shorten(power, ring->rows + (frame % ring->row_count) * ring->bin_count, ring->bin_count);
}

static void ring_get(const struct spectrum_ring *ring, int64_t frame, float *power)
{
    lengthen(ring->rows + (frame % ring->row_count) * ring->bin_count, power, ring->bin_count);
}

/* Band edges: octaves where vowels are told apart by less, smaller steps where a microphone's side and distance show. */
static const double colour_edges_hz[TT_COLOUR_BANDS + 1] = {100, 200, 400, 800, 1600, 2500, 4000, 6300, 10000};

static void add_colour(struct hear_pass *pass, const float *power)
{
    const struct tt_stft_shape *shape = &pass->hearing.shape;
    const double bins_per_hz = (double)shape->window_samples / shape->rate_hz;
    for (int b = 0; b < TT_COLOUR_BANDS; b++) {
        int from = (int)(colour_edges_hz[b] * bins_per_hz + 0.5), to = (int)(colour_edges_hz[b + 1] * bins_per_hz + 0.5);
        to = to < shape->bin_count ? to : shape->bin_count;
        if (to > from)
            pass->colour_sums[b] += (double)tt_sum_of(power + from, to - from);
    }
    pass->colour_frames++;
}

static void sum_up_colour(const struct hear_pass *pass, struct tt_heard_facts *facts)
{
    const double least_s = 3; /* less speech has the colour of its words */
    double mean = 0;
    bool is_known = (double)pass->colour_frames * pass->hearing.shape.hop_samples >= least_s * facts->rate_hz;
    for (int b = 0; b < TT_COLOUR_BANDS; b++) {
        facts->colour_db[b] = is_known ? (float)tt_db_from_power(pass->colour_sums[b] / (double)pass->colour_frames + 1e-20) : NAN;
        mean += (double)facts->colour_db[b] / TT_COLOUR_BANDS;
    }
    for (int b = 0; b < TT_COLOUR_BANDS; b++)
        facts->colour_db[b] -= (float)mean;
}

static bool hand_out_settled(struct hear_pass *pass, struct tt_error *err)
{
    int64_t until = tt_listener_settled(pass->listener);
    for (; pass->settled < until; pass->settled++) {
        struct tt_hear_frame frame = {.index = pass->settled,
                                      .sample = pass->settled * pass->hearing.shape.hop_samples,
                                      .power = pass->settled_power,
                                      .state = tt_listener_state(pass->listener, pass->settled)};
        ring_get(&pass->ring, pass->settled, pass->settled_power);
        if (!tt_nuclei_add(pass->nuclei, frame.power, tt_listener_voiced(pass->listener, frame.index), frame.state == TT_FRAME_SPEECH, err))
            return false;
        if (frame.state == TT_FRAME_SPEECH)
            add_colour(pass, frame.power);
        for (int i = 0; i < TT_STAGE_COUNT; i++)
            if (tt_chain[i]->hear_settled && !tt_chain[i]->hear_settled(pass->stage_states[i], &frame, err))
                return false;
    }
    return true;
}

static bool take_frame(void *context, int64_t index, const float *power, const float *samples, struct tt_error *err)
{
    struct hear_pass *pass = context;
    struct tt_hear_frame frame = {.index = index, .sample = index * pass->hearing.shape.hop_samples, .power = power, .samples = samples};
    ring_put(&pass->ring, index, power);
    if (!tt_listener_add(pass->listener, power, samples, err))
        return false;
    for (int i = 0; i < TT_STAGE_COUNT; i++)
        if (tt_chain[i]->hear_frame && !tt_chain[i]->hear_frame(pass->stage_states[i], &frame, err))
            return false;
    if (pass->picture && index % TT_PICTURE_HOPS == 0 && !tt_picture_add(pass->picture, power, err))
        return false;
    return hand_out_settled(pass, err);
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
    struct tt_heard_facts *facts = &pass->heard.facts;
    facts->rate_hz = info.rate_hz;
    facts->channel_count = info.channel_count;
    facts->channel = request->channel.channel;
    facts->safety_number = request->channel.safety_number;
    facts->listener_number = request->channel.listener_number;
    facts->safety_gain = request->channel.safety_gain;
    snprintf(facts->channel_why, sizeof facts->channel_why, "%s", request->channel.why);
    snprintf(facts->content_sha256, sizeof facts->content_sha256, "%s", request->content_sha256);
    snprintf(facts->hearing_key, sizeof facts->hearing_key, "%s", request->hearing_key);

    pass->hearing.shape = tt_stft_shape_for(info.rate_hz);
    pass->hearing.settings = request->settings;
    pass->hearing.heard = &pass->heard;
    pass->block = malloc(BLOCK_SAMPLES * sizeof(float));
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
    pass->filtered = malloc(filtered_room * sizeof(float));
    if (!pass->filtered)
        return tt_fail_memory(err);
    tt_remarks_start(&pass->remarks, &info);
    if (!(pass->meter = tt_meter_create(info.rate_hz, 1.0, err)) ||
        !(pass->listener = tt_listener_create(pass->hearing.shape, err)) ||
        !(pass->nuclei = tt_nuclei_create(pass->hearing.shape, err)) ||
        !(pass->framer = tt_framer_create(pass->hearing.shape, take_frame, pass, err)) ||
        !ring_create(&pass->ring, tt_listener_delay_frames(pass->listener) + 8, pass->hearing.shape.bin_count, err) ||
        !(pass->writer = tt_heard_writer_open(request->heard_path, err)))
        return false;
    if (request->picture_prefix && !(pass->picture = tt_picture_create(pass->hearing.shape, request->picture_prefix, err)))
        return false;
    pass->hearing.writer = pass->writer;
    if (!tt_room_recording_hear(request->settings, &pass->hearing, err))
        return false;
    for (int i = 0; i < TT_STAGE_COUNT; i++)
        if (tt_chain[i]->hear_open && !(pass->stage_states[i] = tt_chain[i]->hear_open(&pass->hearing, err)))
            return false;
    /* Last: its thread works with all of the above. */
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
        if (pass->request->tick && !pass->request->tick(pass->request->tick_context, expected > 0 ? (double)done / (double)expected : 0))
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
        return tt_fail(err, TT_ERROR_INPUT, "no sound in it: the file holds not one sample; record it again or take it away");
    return tt_framer_finish(pass->framer, err) && tt_listener_finish(pass->listener, err) && hand_out_settled(pass, err);
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

static bool close_pass(struct hear_pass *pass, struct tt_error *err)
{
    struct tt_heard *heard = &pass->heard;
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
    sum_up_colour(pass, &heard->facts);
    pass->remarks.mended_places = tt_voice_reader_mended(pass->reader, &pass->remarks.first_mended_frame);
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
    free(pass->ring.rows);
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

bool tt_hearing_key(const struct tt_settings *settings, const struct tt_channel_choice *channel, char key[65], struct tt_error *err)
{
    struct tt_text text = {0};
    tt_text_addf(&text, "%s hear 1\nchannel %d\nhighpass %.17g\nwindow %.17g\nhum %d\nroom %s\n", TIDYTAKE_VERSION, channel->channel,
                 settings->take.highpass_hz, settings->floor.window_s, (int)settings->gate.hum, settings->floor.room_tone);
    if (channel->safety_number > 0)
        tt_text_addf(&text, "safety %d %.17g\n", channel->safety_number, channel->safety_gain);
    if (channel->listener_number > 0)
        tt_text_addf(&text, "listener %d\n", channel->listener_number);
    if (strcmp(settings->floor.room_tone, "auto") != 0) {
        char digest[65];
        if (!tt_file_sha256(settings->floor.room_tone, digest, err)) {
            tt_error_context(err, "room_tone");
            tt_text_free(&text);
            return false;
        }
        tt_text_addf(&text, "%s\n", digest);
    }
    bool ok = !text.has_failed || tt_fail_memory(err);
    if (ok)
        tt_sha256(text.data, text.length, key);
    tt_text_free(&text);
    return ok;
}
