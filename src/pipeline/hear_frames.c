/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/hear_frames.h"

#include <string.h>

bool hear_hand_out_settled(struct hear_pass *pass, struct tt_error *err)
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
    return tt_listener_add(pass->listener, power, samples, err) && hear_hand_out_settled(pass, err);
}

size_t hear_batch_row(const struct hear_pass *pass)
{
    return (size_t)(pass->hearing.shape.bin_count + pass->hearing.shape.hop_samples);
}

bool hear_listen_to_batch(void *context, const float *rows, size_t count, struct tt_error *err)
{
    struct hear_pass *pass = context;
    const size_t row = hear_batch_row(pass);
    for (const float *end = rows + count; rows < end; rows += row)
        if (!listen_to(pass, rows, rows + pass->hearing.shape.bin_count, err))
            return false;
    return true;
}

bool hear_hand_on_batch(struct hear_pass *pass, struct tt_error *err)
{
    const size_t count = (size_t)pass->batch_count * hear_batch_row(pass);
    pass->batch_count = 0;
    return count == 0 || tt_relay_hand_on(pass->frames, count, err);
}

static bool hand_on(struct hear_pass *pass, const float *power, const float *samples, struct tt_error *err)
{
    const size_t bins = (size_t)pass->hearing.shape.bin_count, hop = (size_t)pass->hearing.shape.hop_samples;
    if (pass->batch_count == 0 && !(pass->batch = tt_relay_room(pass->frames, err)))
        return false;
    float *row = pass->batch + (size_t)pass->batch_count * (bins + hop);
    memcpy(row, power, bins * sizeof *row);
    memcpy(row + bins, samples, hop * sizeof *row);
    return ++pass->batch_count < HEAR_BATCH_FRAMES || hear_hand_on_batch(pass, err);
}

bool hear_take_frame(void *context, int64_t index, const float *power, const float *samples, struct tt_error *err)
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

bool hear_cut_frames(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct hear_pass *pass = context;
    return tt_framer_add(pass->framer, samples, count, err);
}
