/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within hearing: what is done with each frame of a take. At once by stages and picture; by listener and ring maybe in
 * another thread, to which frames go in batches; and, once the listener knows whether somebody speaks in it, again. */
#ifndef TT_PIPELINE_HEAR_FRAMES_H
#define TT_PIPELINE_HEAR_FRAMES_H

#include "base/relay.h"
#include "dsp/highpass.h"
#include "dsp/listener.h"
#include "dsp/meter.h"
#include "dsp/nuclei.h"
#include "pipeline/chain.h"
#include "pipeline/colour.h"
#include "pipeline/framer.h"
#include "pipeline/hear.h"
#include "pipeline/picture.h"
#include "pipeline/remarks.h"
#include "pipeline/spectrum_ring.h"

enum { HEAR_BATCH_FRAMES = 32 };

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
    float *block;
    size_t filtered_room; /* samples of a block behind the filter */
    struct tt_span_frames *others;
};

/* For the relay: samples, out of which frames are cut. */
bool hear_cut_frames(void *context, const float *samples, size_t count, struct tt_error *err);
/* For the framer: a frame. */
bool hear_take_frame(void *context, int64_t index, const float *power, const float *samples, struct tt_error *err);
/* For the relay to the listener: rows of hear_batch_row(pass) numbers. */
bool hear_listen_to_batch(void *context, const float *rows, size_t count, struct tt_error *err);
size_t hear_batch_row(const struct hear_pass *pass);
/* At the end: what is left of a batch, and of what was not settled. */
bool hear_hand_on_batch(struct hear_pass *pass, struct tt_error *err);
bool hear_hand_out_settled(struct hear_pass *pass, struct tt_error *err);

#endif
