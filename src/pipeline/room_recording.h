/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The floor from a recording of the empty room, where `room_tone` names one. */
#ifndef TT_PIPELINE_ROOM_RECORDING_H
#define TT_PIPELINE_ROOM_RECORDING_H

#include "stages/stage.h"

/* Fills hearing->heard->floor with one node when settings->floor.room_tone is a file; does nothing when it is "auto".
 * The file may have another sample rate than the take; it is filtered as the take is. */
bool tt_room_recording_hear(const struct tt_settings *settings, struct tt_hearing *hearing, struct tt_error *err);

#endif
