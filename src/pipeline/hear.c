/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/hear.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/large.h"
#include "base/units.h"
#include "pipeline/hear_frames.h"
#include "pipeline/room_recording.h"

enum { BLOCK_SAMPLES = 1 << 14, RING_SPARE_FRAMES = 8 };

static bool open_recording(struct hear_pass *pass, struct tt_error *err)
{
    const struct tt_hear_request *request = pass->request;
    const struct tt_channel_choice *channel = &request->channel;
    struct tt_audio_info info;
    struct tt_recording recording = {.path = request->path,
                                     .more_paths = request->more_paths,
                                     .more_count = request->more_count,
                                     .channel = channel->channel,
                                     .safety_number = channel->safety_number,
                                     .safety_gain = channel->safety_gain,
                                     .listener_number = channel->listener_number};
    pass->reader = tt_recording_open(&recording, &info, err);
    if (!pass->reader)
        return false;
    tt_voice_reader_show_bytes(pass->reader, request->show_content, request->content_context);
    struct tt_heard_facts *facts = &pass->heard.facts;
    facts->rate_hz = info.rate_hz;
    facts->channel_count = info.channel_count;
    facts->channel = channel->channel;
    facts->safety_number = channel->safety_number;
    facts->listener_number = channel->listener_number;
    facts->safety_gain = channel->safety_gain;
    snprintf(facts->channel_why, sizeof facts->channel_why, "%s", channel->why);
    snprintf(facts->hearing_key, sizeof facts->hearing_key, "%s", request->hearing_key);
    tt_remarks_start(&pass->remarks, &info);
    pass->hearing.shape = tt_stft_shape_for(info.rate_hz);
    pass->hearing.settings = request->settings;
    pass->hearing.heard = &pass->heard;
    return true;
}

static bool open_filter(struct hear_pass *pass, struct tt_error *err)
{
    const double cutoff_hz = pass->request->settings->take.highpass_hz;
    pass->filtered_room = BLOCK_SAMPLES;
    if (cutoff_hz > 0) {
        pass->highpass = tt_highpass_create(pass->heard.facts.rate_hz, cutoff_hz, err);
        if (!pass->highpass)
            return false;
        pass->filtered_room += tt_highpass_latency(pass->highpass);
    }
    pass->block = tt_alloc_lines(BLOCK_SAMPLES * sizeof(float));
    return pass->block || tt_fail_memory(err);
}

static struct tt_heard_writer *open_writer(const struct tt_hear_request *request, struct tt_error *err)
{
    return request->heard_path ? tt_heard_writer_open(request->heard_path, err)
                               : tt_heard_writer_open_unnamed(request->unnamed.folder, err);
}

static bool open_listening(struct hear_pass *pass, struct tt_error *err)
{
    const struct tt_stft_shape shape = pass->hearing.shape;
    const char *pictures = pass->request->picture_prefix;
    pass->settled_power = malloc((size_t)shape.bin_count * sizeof(float));
    if (!pass->settled_power)
        return tt_fail_memory(err);
    return (pass->meter = tt_meter_create(shape.rate_hz, 1.0, err)) &&
           (pass->listener = tt_listener_create(shape, err)) && (pass->nuclei = tt_nuclei_create(shape, err)) &&
           (pass->framer = tt_framer_create(shape, hear_take_frame, pass, err)) &&
           tt_spectrum_ring_create(&pass->ring, tt_listener_delay_frames(pass->listener) + RING_SPARE_FRAMES,
                                   shape.bin_count, err) &&
           (pass->writer = open_writer(pass->request, err)) &&
           (!pictures || (pass->picture = tt_picture_create(shape, pictures, err)));
}

static bool open_stages(struct hear_pass *pass, struct tt_error *err)
{
    pass->hearing.writer = pass->writer;
    if (!tt_room_recording_hear(pass->request->settings, &pass->hearing, err))
        return false;
    for (int i = 0; i < TT_STAGE_COUNT; i++)
        if (tt_chain[i]->hear_open && !(pass->stage_states[i] = tt_chain[i]->hear_open(&pass->hearing, err)))
            return false;
    return true;
}

static bool open_threads(struct hear_pass *pass, struct tt_error *err)
{
    const bool has_second = pass->request->has_second_thread;
    if (has_second) {
        const size_t batch_floats = HEAR_BATCH_FRAMES * hear_batch_row(pass);
        if (!(pass->frames = tt_relay_open(hear_listen_to_batch, pass, batch_floats, true, err)))
            return false;
    }
    return (pass->relay = tt_relay_open(hear_cut_frames, pass, pass->filtered_room, has_second, err)) != NULL;
}

/* Threads last: they work with all of the rest. */
static bool open_pass(struct hear_pass *pass, struct tt_error *err)
{
    return open_recording(pass, err) && open_filter(pass, err) && open_listening(pass, err) && open_stages(pass, err) &&
           open_threads(pass, err);
}

static bool listen_to_block(struct hear_pass *pass, size_t count, struct tt_error *err)
{
    tt_remarks_listen(&pass->remarks, pass->block, count);
    if (!tt_meter_add(pass->meter, pass->block, count, err))
        return false;
    if (!pass->highpass)
        return tt_relay_add(pass->relay, pass->block, count, err);
    float *filtered = tt_relay_room(pass->relay, err);
    return filtered &&
           tt_relay_hand_on(pass->relay, tt_highpass_run(pass->highpass, pass->block, count, filtered), err);
}

/* What still waits in the filter, the threads and the listener. */
static bool listen_to_rest(struct hear_pass *pass, struct tt_error *err)
{
    float *filtered = pass->highpass ? tt_relay_room(pass->relay, err) : NULL;
    if (pass->highpass &&
        !(filtered && tt_relay_hand_on(pass->relay, tt_highpass_finish(pass->highpass, filtered), err)))
        return false;
    if (!tt_relay_finish(pass->relay, err))
        return false;
    if (pass->heard.facts.frame_count == 0)
        return tt_fail(err, TT_ERROR_INPUT,
                       "no sound in it: the file holds not one sample; record it again, or take it out of the folder");
    return tt_framer_finish(pass->framer, err) &&
           (!pass->frames || (hear_hand_on_batch(pass, err) && tt_relay_finish(pass->frames, err))) &&
           tt_listener_finish(pass->listener, pass->heard.facts.frame_count, err) && hear_hand_out_settled(pass, err);
}

static bool listen_through(struct hear_pass *pass, int64_t expected, struct tt_error *err)
{
    const struct tt_hear_request *request = pass->request;
    int64_t done = 0, count;
    while ((count = tt_voice_reader_read(pass->reader, pass->block, BLOCK_SAMPLES, err)) > 0) {
        if (!listen_to_block(pass, (size_t)count, err))
            return false;
        done += count;
        if (request->tick && !request->tick(request->tick_context, expected > 0 ? (double)done / (double)expected : 0))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
    }
    pass->heard.facts.frame_count = done;
    return count == 0 && listen_to_rest(pass, err);
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
    return pass->request->heard_path ? tt_heard_writer_commit(writer, heard, err)
                                     : tt_heard_writer_keep(writer, heard, pass->request->unnamed.opened, err);
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
    free(pass->settled_power);
    free(pass->block);
    free(pass->others);
}

struct tt_recording tt_recording_as_heard(const struct tt_heard_facts *facts, const char *path,
                                          const char *const *more_paths, size_t more_count)
{
    return (struct tt_recording){.path = path,
                                 .more_paths = more_paths,
                                 .more_count = more_count,
                                 .channel = facts->channel,
                                 .safety_number = facts->safety_number,
                                 .safety_gain = facts->safety_gain};
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
