/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a stage of the chain is: its hearing, its deciding and its rendering, each optional. The table of stages is
 * pipeline/chain.c. */
#ifndef TT_STAGES_STAGE_H
#define TT_STAGES_STAGE_H

#include "base/settings.h"
#include "dsp/link.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"

/* ---- hearing: one streaming pass over a take ---- */

struct tt_hearing {
    struct tt_stft_shape shape;
    const struct tt_settings *settings;
    struct tt_heard *heard; /* being filled; arrays stay with the stage that made them until its hear_free */
    struct tt_heard_writer *writer;
};

/* One STFT frame. */
struct tt_hear_frame {
    int64_t index;             /* counts from 0 */
    int64_t sample;            /* its centre: index * hop */
    const float *power;        /* shape.bin_count, scaled as tt_stft_powers */
    const float *samples;      /* the hop_samples samples from its centre on; NULL when settled */
    enum tt_frame_state state; /* valid when settled */
};

/* ---- deciding: the whole session at once, in running order ---- */

struct tt_take_view {
    const char *name; /* file name */
    const struct tt_heard *heard;
    struct tt_sheet *sheet; /* holds a person's rows already */
    double clock_s;         /* when it begins on the session's running clock: takes laid end to end */
};
struct tt_session_view {
    struct tt_take_view *takes;
    size_t count;
    const struct tt_settings *settings;
    size_t threads;                 /* over which the work may be spread: the same rows; 0: 1 */
    bool (*goes_on)(void *context); /* asked on the caller's thread in what takes long; false: stop. NULL: never */
    void *context;
};

/* ---- rendering: one take, over its full length; the cutting itself is done behind all links (pipeline/editor.h) ----
 */

struct tt_rendering {
    const struct tt_heard *heard;
    const struct tt_sheet *sheet; /* sealed */
    const struct tt_settings *settings;
    int64_t start_sample; /* of the take, the first that is rendered; on the gate's grid (dsp/gate.h) */
    const struct tt_span_samples
        *wanted; /* what is used of the take, rising: nobody hears what the links make elsewhere; NULL: all of it */
    size_t wanted_count;
    size_t threads; /* that may run a unit link at once */
};

struct tt_stage {
    const char *name; /* as its section of the settings */
    const char *summary;
    void *(*hear_open)(const struct tt_hearing *hearing, struct tt_error *err);
    /* A stage has one of these two or shares nothing between them: they may be called by two threads. */
    bool (*hear_frame)(void *state, const struct tt_hear_frame *frame, struct tt_error *err); /* at once */
    bool (*hear_settled)(void *state, const struct tt_hear_frame *frame,
                         struct tt_error *err);                                        /* when its state is known */
    bool (*hear_close)(void *state, struct tt_hearing *hearing, struct tt_error *err); /* fills hearing->heard */
    void (*hear_free)(void *state);                                                    /* NULL is fine */
    bool (*decide)(const struct tt_session_view *view, struct tt_error *err);
    /* Fills *link; leaves it zeroed where the stage has nothing to do on this take. */
    bool (*render_open)(const struct tt_rendering *rendering, struct tt_link *link, struct tt_error *err);
    /* The same, of a link behind that one; one stage at most has it. */
    bool (*render_units)(const struct tt_rendering *rendering, struct tt_unit_link *link, struct tt_error *err);
};

extern const struct tt_stage tt_stage_floor, tt_stage_gate, tt_stage_misreads, tt_stage_breaths, tt_stage_pauses,
    tt_stage_loudness;

#endif
