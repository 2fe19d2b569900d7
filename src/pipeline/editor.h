/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The cutting itself: a take's samples go in at full length, its voice comes out by the time map, with crossfades and
 * made room tone. */
#ifndef TT_PIPELINE_EDITOR_H
#define TT_PIPELINE_EDITOR_H

#include <stdbool.h>
#include <stddef.h>

#include "dsp/room_match.h"
#include "dsp/room_tone.h"
#include "pipeline/sink.h"
#include "sheet/time_map.h"

struct tt_editor;
/* map, tone and match are borrowed; tone may be NULL when the map asks for none. match tunes the tone of each gap to
 * what is heard before and behind it (pipeline/gap_tone.h); NULL: the tone stays as it is. */
struct tt_editor *tt_editor_create(const struct tt_time_map *map, struct tt_room_tone *tone,
                                   struct tt_room_match *match, tt_sink sink, void *context, struct tt_error *err);
/* The first sample that comes is not the take's first; far enough before the first stretch for its fade. */
void tt_editor_start_at(struct tt_editor *editor, int64_t sample);
/* The take's samples in order. The sink gets map->out_samples samples in all once the last one is in and finish was
 * called. */
bool tt_editor_add(struct tt_editor *editor, const float *samples, size_t count, struct tt_error *err);
bool tt_editor_finish(struct tt_editor *editor, struct tt_error *err);
void tt_editor_destroy(struct tt_editor *editor);

#endif
