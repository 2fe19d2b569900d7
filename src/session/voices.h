/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Voices laid end to end: a source of samples for the narration and its pieces, with room tone between them. They are as they were before their limiters: what is
 * made of them is limited once. */
#ifndef TT_SESSION_VOICES_H
#define TT_SESSION_VOICES_H

#include "dsp/floor_track.h"
#include "pipeline/delivery.h"

struct tt_voice_part {
    const char *path;              /* of the voice file */
    const char *limit_path;        /* of what its limiter did, which is taken back; NULL: it did nothing */
    int rate_hz;                   /* of it */
    int64_t frames;
    const struct tt_floor_track *room; /* of the take; borrowed */
    double tone_gain;              /* linear, on top of the room's level */
    uint64_t seed;
    const struct tt_floor_track *room_before; /* tone_before goes over into this part's room from that of the part before; NULL: its own from the start */
    double tone_gain_before;
    int64_t tone_before, tone_behind; /* made room tone around it, in frames at rate_hz */
};

struct tt_voices;
struct tt_voices *tt_voices_open(const struct tt_voice_part *parts, size_t count, int rate_hz, struct tt_error *err);
/* Samples at rate_hz of parts [0, part): where part begins, its tone included. part = count: all. */
int64_t tt_voices_start(const struct tt_voices *voices, size_t part);
/* Where the voice itself begins. */
int64_t tt_voices_voice_start(const struct tt_voices *voices, size_t part);
struct tt_source tt_voices_source(struct tt_voices *voices);
void tt_voices_close(struct tt_voices *voices);

#endif
