/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Voices laid end to end: a source of samples for the narration and its pieces, with room tone between them. They are
 * as they were before their limiters: what is made of them is limited once. */
#ifndef TT_SESSION_VOICES_H
#define TT_SESSION_VOICES_H

#include "pipeline/delivery.h"
#include "sheet/heard.h"
#include "sheet/time_map.h"

struct tt_voice_part {
    const char *path;       /* of the voice file */
    const char *limit_path; /* of what its limiter did, which is taken back; NULL: it did nothing */
    int rate_hz;            /* of it */
    int64_t frames;
    const struct tt_heard *heard;  /* of the take; borrowed, as is map */
    const struct tt_time_map *map; /* from the take to the voice */
    double tone_gain;              /* linear: what the gate leaves of the room's floor, at the voice's level */
    uint64_t seed;
    int64_t tone_before, tone_behind; /* made room tone around it, in frames at rate_hz; from one voice to the next one
                                         room goes over into the other in tone_before */
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
