/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The narration, or a piece of it, before it is written: which voices, how much room tone between them, which labels
 * where. */
#ifndef TT_SESSION_TRACK_H
#define TT_SESSION_TRACK_H

#include "audio/writer.h"
#include "pipeline/quiet_meter.h"
#include "session/run.h"
#include "session/voices.h"

/* Takes that are in a track, in order. */
struct tt_track {
    struct tt_take **takes;
    struct tt_voice_part *parts;
    size_t count;
    int rate_hz;
    struct tt_label *labels;
    size_t label_count;
    struct tt_span_samples *quiet; /* made room tone, where the floor can be measured */
    size_t quiet_count;
};

/* piece NULL: the narration. A track without takes has count 0. tt_track_free also after a failure. */
bool tt_track_build(struct tt_run_state *run, const char *piece, struct tt_track *track, struct tt_error *err);
/* A label at each take, and at each gap and label row in it; where the floor can be measured. */
bool tt_track_label(const struct tt_voices *voices, struct tt_track *track, struct tt_error *err);
void tt_track_free(struct tt_track *track);

/* Digest of all that the track's file depends on. */
bool tt_track_key(const struct tt_run_state *run, const struct tt_track *track, const char *title, char key[65],
                  struct tt_error *err);

#endif
